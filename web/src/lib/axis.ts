/** Hangs pictures on an axis: each as near as it can be to its own place, none over another. */

export interface Item {
  id: number;
  /** place along the axis, px */
  at: number;
  /** the smaller, the sooner it gets the place it wants */
  rank: number;
}

export interface Hung {
  id: number;
  /** middle along the axis, px */
  x: number;
  /** 0 is next to the axis */
  tier: number;
  /** where its thread meets the axis, px */
  anchor: number;
}

/** A tier higher is dearer than a nudge, and cheaper than half a picture aside. */
const HIGHER = 0.4;

/**
 * Places pictures of one size in tiers beside an axis.
 *
 * In each tier they hang in the order of their planes: what is behind another never hangs before
 * it. The best choose first, in the tier nearest to the axis where they push others least, and
 * give way least when others come; a slanted thread tells who had to. Only when all tiers are full
 * does another one begin.
 */
export function hang(items: Item[], length: number, size: number, tiers: number): Hung[] {
  const full: Placed[][] = Array.from({ length: tiers }, () => []);
  const byRank = [...items].sort((a, b) => a.rank - b.rank);
  byRank.forEach((item, order) => {
    const anchor = Math.min(Math.max(item.at, 0), length);
    const one = { id: item.id, anchor, order, weight: 1 / (1 + order) };
    let best: { tier: number; row: Placed[]; cost: number } | null = null;
    full.forEach((row, tier) => {
      if ((row.length + 1) * size > length + 1e-6) return;
      const wider = [...row.map((other) => ({ ...other })), { ...one, x: anchor }].sort((a, b) => a.anchor - b.anchor || a.order - b.order);
      spread(wider, length, size);
      const cost = aside(wider, length, size) - aside(row, length, size) + tier * size * HIGHER;
      if (!best || cost < best.cost - 1e-9) best = { tier, row: wider, cost };
    });
    const found = best as { tier: number; row: Placed[] } | null;
    if (found) full[found.tier] = found.row;
    else {
      const row = [{ ...one, x: anchor }];
      spread(row, length, size);
      full.push(row);
    }
  });
  const hung = full.flatMap((row, tier) => row.map(({ id, x, anchor, order }) => ({ id, x, tier, anchor, order })));
  return hung.sort((a, b) => a.order - b.order).map(({ id, x, tier, anchor }) => ({ id, x, tier, anchor }));
}

interface Placed {
  id: number;
  x: number;
  anchor: number;
  order: number;
  weight: number;
}

function within(x: number, length: number, size: number): number {
  return Math.min(Math.max(x, size / 2), Math.max(size / 2, length - size / 2));
}

/** How far the pictures of a tier hang from their own places, all together. */
function aside(row: Placed[], length: number, size: number): number {
  return row.reduce((sum, one) => sum + Math.abs(one.x - within(one.anchor, length, size)), 0);
}

/** Moves the pictures of a tier, in their order, no farther than they must (pools of neighbours). */
function spread(row: Placed[], length: number, size: number) {
  const pools: { from: number; sum: number; weight: number; count: number }[] = [];
  row.forEach((one, i) => {
    pools.push({ from: i, sum: (within(one.anchor, length, size) - i * size) * one.weight, weight: one.weight, count: 1 });
    for (;;) {
      const [before, last] = [pools.at(-2), pools.at(-1)];
      if (!before || !last || before.sum / before.weight <= last.sum / last.weight) break;
      pools.splice(-2, 2, { from: before.from, sum: before.sum + last.sum, weight: before.weight + last.weight, count: before.count + last.count });
    }
  });
  const [lowest, highest] = [size / 2, Math.max(size / 2, length - size / 2 - (row.length - 1) * size)];
  for (const pool of pools)
    for (let i = pool.from; i < pool.from + pool.count; i++) {
      const one = row[i];
      if (one) one.x = Math.min(Math.max(pool.sum / pool.weight, lowest), highest) + i * size;
    }
}

/** How a burst is hung: side of a crop, px, and how many tiers. */
export interface Fit {
  side: number;
  tiers: number;
}

/**
 * Chooses the largest crops that hang near their own places, in no more height than there is.
 *
 * `itemsAt` gives the pictures for a side, since the ends of the axis leave half of one free.
 */
export function fit(itemsAt: (side: number) => Item[], length: number, gap: number, foot: number, high: number): Fit {
  const [largest, smallest, most] = [208, 104, 4];
  let nearest: (Fit & { miss: number }) | null = null;
  for (let side = largest; side >= smallest; side -= 8)
    for (let tiers = 1; tiers <= most && tiers * (side + foot) <= high; tiers++) {
      const items = itemsAt(side);
      if (items.length > tiers * Math.floor(length / (side + gap))) continue;
      const hung = hang(items, length, side + gap, tiers);
      if (hung.some((one) => one.tier >= tiers)) continue;
      const off = hung.map((one) => Math.abs(one.x - within(one.anchor, length, side + gap)) / (side + gap));
      const miss = off.reduce((sum, one) => sum + one, 0) / Math.max(1, off.length);
      if (miss <= 0.5 && (off[0] ?? 0) <= 0.5) return { side, tiers };
      if (!nearest || miss < nearest.miss) nearest = { side, tiers, miss };
    }
  return nearest ?? { side: smallest, tiers: Math.ceil((itemsAt(smallest).length * (smallest + gap)) / Math.max(length, 1)) };
}

/**
 * Ends of the axis: a frame far off the others does not squeeze them, it hangs at the end.
 *
 * Either side shows three quarters of a depth of field at least, so that the band about the eye
 * always has an outside; a side without frames takes no more, and leaves the room to the other.
 */
export function ends(offsets: number[], half: number): { near: number; far: number } {
  const side = (wanted: number[]) => {
    const sizes = wanted.map(Math.abs).sort((a, b) => a - b);
    const most = sizes.at(-1) ?? 0;
    const usual = sizes[Math.floor(0.85 * (sizes.length - 1))] ?? 0;
    return Math.max(1.5 * half, Math.min(most, 2 * usual) * 1.04);
  };
  return {
    near: -side(offsets.filter((one) => one < 0)),
    far: side(offsets.filter((one) => one > 0)),
  };
}

/** Round numbers between two ends, about so many. */
export function ticks(near: number, far: number, about: number): number[] {
  const raw = Math.max(far - near, 1e-9) / about;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= raw) ?? raw;
  const first = Math.ceil(near / step - 1e-9);
  const last = Math.floor(far / step + 1e-9);
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => (first + i) * step);
}
