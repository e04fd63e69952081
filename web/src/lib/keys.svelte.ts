import { untrack } from "svelte";

/** One table of keys drives both what they do and what the help says of them. */

export interface Key {
  /** as the browser names it: "ArrowLeft", "k", "Enter" */
  key: string;
  /** as a person reads it */
  shown: string;
  does: string;
  act: () => void;
  /** held down, it does this when it is let go; told how long it was held, ms */
  end?: (held: number) => void;
}

const ARROWS = [
  ["ArrowRight", "\u2192", 1, 0],
  ["ArrowLeft", "\u2190", -1, 0],
  ["ArrowUp", "\u2191", 0, -1],
  ["ArrowDown", "\u2193", 0, 1],
] as const;

/** The four arrow keys, with Shift if so said; `act` is told the way as steps right and down. */
export function arrows(does: string, act: (right: number, down: number) => void, shift = false): Key[] {
  return ARROWS.map(([key, sign, right, down], i) => ({
    key: shift ? `Shift+${key}` : key,
    shown: shift ? `Shift ${sign}` : sign,
    does: i === 0 ? does : "",
    act: () => act(right, down),
  }));
}

class Keys {
  tables: { title: string; keys: Key[]; above: boolean }[] = $state.raw([]);

  /** Adds a table until the returned function is called; one above others is asked before them. */
  add(title: string, keys: Key[], above = false): () => void {
    const table = { title, keys, above };
    // an effect that adds keys must not run again because keys were added
    untrack(() => {
      const tables = [...this.tables, table];
      // a part may be there before the view that it belongs to
      this.tables = [...tables.filter((one) => !one.above), ...tables.filter((one) => one.above)];
    });
    return () => untrack(() => (this.tables = this.tables.filter((one) => one !== table)));
  }

  #held: { key: Key; since: number } | null = null;

  /** Ends what a key did while it was held. */
  release(event: KeyboardEvent): void {
    if (this.#held?.key.key !== event.key) return;
    const { key, since } = this.#held;
    this.#held = null;
    key.end?.(performance.now() - since);
  }

  /** Does what the last table that knows the key says; "Shift+ArrowUp" is another than "ArrowUp". */
  press(event: KeyboardEvent): void {
    if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
    const target = event.target;
    if (target instanceof HTMLElement) {
      if (target.closest("input, textarea, select, [contenteditable], dialog[open]")) return;
      // Enter and the space bar belong to a button or link that has the focus
      if (target.closest("button, a, summary") && (event.key === "Enter" || event.key === " "))
        return;
    }
    const names = event.shiftKey && event.key.length > 1 ? [`Shift+${event.key}`, event.key] : [event.key];
    for (const name of names)
      for (const table of [...this.tables].reverse()) {
        const known = table.keys.find((one) => one.key === name);
        if (!known) continue;
        event.preventDefault();
        if (event.repeat && known.end) return;
        if (known.end) this.#held = { key: known, since: performance.now() };
        known.act();
        return;
      }
  }
}

export const keys = new Keys();
