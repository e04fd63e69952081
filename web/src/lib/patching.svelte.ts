/** A patch while it is being chosen, and those that stand. */
import { untrack } from "svelte";
import { sentence } from "./api";
import { notice } from "./notice.svelte";
import {
  mark, patches, previewUrl, putPatch, redoPatch, sharpest, under, undoPatch, writePatches,
  type Corner, type Patches, type Sweep, type Under,
} from "./picture";
import { corners, middle, moved, reach, scaled, whole, type Shape } from "./shape";

/** How long a shape must lie still before one asks what lies under it, ms. */
const STILL_MS = 220;

export class Patching {
  told: Patches | undefined = $state.raw(undefined);
  shape: Shape | null = $state.raw(null);
  /** a shape is being drawn with the pointer */
  drawing = $state(false);
  under: Under | undefined = $state.raw(undefined);
  /** what `under` was asked for */
  around: Corner[] = $state.raw([]);
  frame: number | null = $state(null);
  /** the person chose that frame; else it follows the surface */
  #picked = false;
  finest: number | null = $state(null);
  fineness: Record<string, number> = $state.raw({});
  comparing = $state(false);
  /** on its way to the book: a second press would put it twice */
  putting = $state(false);
  error = $state("");

  readonly #where: () => Sweep;
  #turn = 0;
  #timer: ReturnType<typeof setTimeout> | undefined;

  constructor(where: () => Sweep) {
    this.#where = where;
  }

  get where(): Sweep {
    return this.#where();
  }
  /** Changes with every patch that stands. */
  readonly rev = $derived(mark(this.told?.standing ?? []));
  readonly planes = $derived(this.under?.planes ?? []);
  readonly plane = $derived(this.planes.find((one) => one.number === this.frame));
  readonly preview = $derived(
    this.under && this.plane?.sees ? previewUrl(this.where, this.around, this.plane.number, this.rev) : "",
  );

  async load(): Promise<void> {
    await this.#told(() => patches(this.where));
  }

  /** Sets the shape; what lies under it is asked for once it lies still. */
  set(shape: Shape | null, still = false): void {
    this.shape = shape;
    this.under = undefined;
    this.finest = null;
    this.error = "";
    this.#turn += 1;
    clearTimeout(this.#timer);
    if (!shape) this.#picked = false;
    if (!shape || !whole(shape) || this.drawing) return;
    if (still) void this.look();
    else this.#timer = setTimeout(() => void this.look(), STILL_MS);
  }

  async look(): Promise<void> {
    const { shape } = this;
    if (!shape) return;
    const turn = ++this.#turn;
    const around = corners(shape);
    try {
      const found = await under(this.where, around);
      if (turn !== this.#turn) return;
      this.around = around;
      this.under = found;
      if (!this.#picked || !found.planes.some((one) => one.number === this.frame && one.sees)) this.frame = found.nearest;
    } catch (error) {
      if (turn === this.#turn) this.error = sentence(error);
    }
  }

  choose(frame: number): void {
    this.frame = frame;
    this.#picked = true;
  }
  /** Walks through depth: + is away from the camera. */
  walk(step: number): void {
    const seen = this.planes.filter((one) => one.sees);
    const at = seen.findIndex((one) => one.number === this.frame);
    const next = seen[Math.min(Math.max(at + step, 0), seen.length - 1)];
    if (!next) return;
    this.choose(next.number);
    const after = seen[seen.indexOf(next) + step];
    // the one after it is made ready, so that walking goes on without a wait
    if (after) new Image().src = previewUrl(this.where, this.around, after.number, this.rev);
  }

  move(dx: number, dy: number): void {
    const { shape } = this;
    if (shape) this.set(moved(shape, dx * reach(shape), dy * reach(shape)));
  }
  size(factor: number): void {
    if (this.shape) this.set(scaled(this.shape, factor));
  }
  round(): void {
    this.drawing = false;
    const { shape } = this;
    if (!shape || shape.kind === "round") return;
    if (!shape.points.length) return;
    const [x, y] = middle(shape);
    this.set({ kind: "round", x, y, r: reach(shape) });
  }

  async findSharpest(): Promise<void> {
    const { around } = this;
    if (!this.under || this.comparing) return;
    this.comparing = true;
    try {
      const found = await sharpest(this.where, around);
      if (around !== this.around) return;
      this.finest = found.frame;
      this.choose(found.frame);
      this.fineness = found.fineness;
      notice.say(`${this.plane?.frame ?? "That frame"} shows the finest detail here.`);
    } catch (error) {
      notice.say(sentence(error), true);
    } finally {
      this.comparing = false;
    }
  }

  async put(): Promise<boolean> {
    if (!this.plane?.sees || this.putting) return false;
    const { frame, number } = this.plane;
    const { around } = this;
    this.putting = true;
    const put = await this.#told(() => putPatch(this.where, around, number));
    this.putting = false;
    if (!put) return false;
    notice.say(`Written down: this place comes from ${frame}. z takes it back.`);
    this.set(null);
    return true;
  }
  async takeBack(): Promise<void> {
    const last = this.told?.standing.at(-1);
    if (!last) notice.say("No patch stands: this is the picture as it was merged.");
    else if (await this.#told(() => undoPatch(this.where))) notice.say(`Taken back: the patch from ${last.frame}. y puts it again.`);
    if (this.shape) void this.look();
  }
  async putAgain(): Promise<void> {
    if (!this.told?.again) notice.say("There is no patch to put again.");
    else if (await this.#told(() => redoPatch(this.where))) notice.say(`Put again: the patch from ${this.told.standing.at(-1)?.frame ?? ""}.`);
    if (this.shape) void this.look();
  }
  async write(): Promise<void> {
    try {
      await writePatches(this.where);
      notice.say("The picture is being written; the merge itself stays as it is.");
    } catch (error) {
      notice.say(sentence(error), true);
    }
  }

  // one after the other: an answer that was long on its way must not undo a newer one
  #before: Promise<unknown> = Promise.resolve();
  #told(ask: () => Promise<Patches>): Promise<boolean> {
    const now = this.#before.then(async () => {
      try {
        this.told = await ask();
        return true;
      } catch (error) {
        notice.say(sentence(error), true);
        return false;
      }
    });
    this.#before = now;
    return now;
  }

  /** Another picture: nothing of the last one stays. */
  forget(): void {
    untrack(() => {
      this.set(null);
      this.drawing = false;
      this.told = undefined;
      this.frame = null;
    });
  }
}
