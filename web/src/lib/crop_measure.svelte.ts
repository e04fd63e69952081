/** A crop and a line on a picture while they are being drawn. */
import { sentence } from "./api";
import { cropWords, fitted, gripAt, pulled, ratioOf, wholeOf, type Box, type Grip, type Size } from "./crop";
import { carries, keepLine, measure, settle, stands, undoLine, unsettle, type CarriedSaid, type FinishSaid, type KeptLine, type LineSaid } from "./finish";
import { notice } from "./notice.svelte";
import type { Corner, Sweep } from "./picture";

/** How long a crop or a line must lie still before one asks what it carries or measures, ms. */
const STILL_MS = 200;
/** How near the pointer must be to a handle, screen pixels. */
const SLACK = 14;

export class CropMeasure {
  told: FinishSaid | undefined = $state.raw(undefined);
  error = $state("");
  box: Box | null = $state.raw(null);
  shape = $state("");
  grip: Grip = $state.raw({ x: 0, y: 0 });
  viewingCm = $state(40);
  printCm: number | null = $state(null);
  bar: "none" | "burnt" | "overlay" = $state("none");
  barMm: number | null = $state(null);
  corner: NonNullable<FinishSaid["settings"]["corner"]> = $state("bottom-right");
  carried: CarriedSaid | undefined = $state.raw(undefined);

  points: Corner[] = $state.raw([]);
  held = $state(-1);
  flat = $state(false);
  clickPx = $state(1);
  known: { mm: number; error: number; along: [Corner, Corner] } | null = $state.raw(null);
  line: LineSaid | undefined = $state.raw(undefined);

  readonly #where: () => Sweep;
  #turn = 0;
  #timer: ReturnType<typeof setTimeout> | undefined;
  #drag: { x: number; y: number; box: Box; grip: Grip } | null = null;

  constructor(where: () => Sweep) {
    this.#where = where;
  }

  get where(): Sweep {
    return this.#where();
  }
  readonly size: Size = $derived(this.told ? [this.told.size_px[0], this.told.size_px[1]] : [1, 1]);
  readonly words = $derived(this.box ? cropWords(this.size, this.box) : "whole");
  readonly changed = $derived.by(() => {
    const settings = this.told?.settings;
    if (!settings || !this.told) return false;
    const stood = this.told.carried.budget.box_px;
    const now = this.box ?? wholeOf(this.size);
    return (
      stood[0] !== now.x0 || stood[1] !== now.y0 || stood[2] !== now.x1 || stood[3] !== now.y1 ||
      settings.bar !== this.bar || (settings.bar_mm ?? null) !== this.barMm || settings.corner !== this.corner
    );
  });

  /** Reads what stands, and draws from there. */
  async load(): Promise<void> {
    await this.#stand(stands(this.where));
  }
  async #stand(asked: Promise<FinishSaid>): Promise<boolean> {
    try {
      const told = await asked;
      this.told = told;
      this.error = "";
      const [x0, y0, x1, y1] = told.carried.budget.box_px;
      this.box = { x0, y0, x1, y1 };
      this.bar = told.settings.bar as typeof this.bar;
      this.barMm = told.settings.bar_mm ?? null;
      this.corner = told.settings.corner ?? "bottom-right";
      this.carried = told.carried;
      this.shape = "";
      this.look();
      return true;
    } catch (error) {
      this.error = sentence(error);
      return false;
    }
  }
  async keep(): Promise<void> {
    const body = { crop: this.words, bar: this.bar, bar_mm: this.barMm, corner: this.corner };
    if (await this.#stand(settle(this.where, body))) notice.say("Written down; the picture itself stays as it is.");
  }
  async takeBack(): Promise<void> {
    if (await this.#stand(unsettle(this.where))) notice.say("Taken back.");
  }

  /** Asks what the crop carries, once it lies still. */
  look(): void {
    const turn = ++this.#turn;
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => void this.#ask(turn), STILL_MS);
  }
  async #ask(turn: number): Promise<void> {
    try {
      const found = await carries(this.where, {
        crop: this.words, viewing_mm: 10 * (this.viewingCm || 40),
        ...(this.printCm ? { print_mm: 10 * this.printCm } : {}),
        ...(this.barMm ? { bar_mm: this.barMm } : {}),
      });
      if (turn !== this.#turn) return;
      this.carried = found;
      this.error = "";
    } catch (error) {
      if (turn === this.#turn) this.error = sentence(error);
    }
  }
  set(box: Box): void {
    this.box = box;
    this.look();
  }
  choose(shape: string): void {
    this.shape = shape;
    const ratio = ratioOf(shape);
    if (ratio && this.box) this.set(fitted(this.size, ratio, this.box));
  }
  /** Moves the chosen edge, or all of the crop. */
  nudge(dx: number, dy: number): void {
    if (this.box) this.set(pulled(this.size, this.box, this.grip, dx, dy, ratioOf(this.shape)));
  }
  nextEdge(): void {
    const round: Grip[] = [{ x: 0, y: 0 }, { x: -1, y: 0 }, { x: 0, y: -1 }, { x: 1, y: 0 }, { x: 0, y: 1 }];
    const now = round.findIndex((one) => one.x === this.grip.x && one.y === this.grip.y);
    this.grip = round[(now + 1) % round.length] ?? { x: 0, y: 0 };
  }
  readonly strokeCrop = (phase: "down" | "move" | "up", x: number, y: number, scale: number): boolean => {
    if (phase === "down") {
      const grip = this.box && gripAt(this.box, x, y, SLACK / scale);
      this.#drag = grip && this.box ? { x, y, box: this.box, grip } : null;
      if (grip) this.grip = grip;
      return !!grip;
    }
    const drag = this.#drag;
    if (!drag) return false;
    this.set(pulled(this.size, drag.box, drag.grip, x - drag.x, y - drag.y, ratioOf(this.shape)));
    return true;
  };

  /** Asks what the line measures, once it lies still. */
  ruled(points: Corner[]): void {
    this.points = points;
    this.line = points.length < 2 ? undefined : this.line;
    const turn = ++this.#turn;
    clearTimeout(this.#timer);
    if (points.length > 1) this.#timer = setTimeout(() => void this.#rule(turn), STILL_MS);
  }
  async #rule(turn: number): Promise<void> {
    try {
      const found = await measure(this.where, this.#asked());
      if (turn !== this.#turn) return;
      this.line = found;
      this.error = "";
    } catch (error) {
      if (turn === this.#turn) [this.line, this.error] = [undefined, sentence(error)];
    }
  }
  #asked() {
    return {
      points_px: this.points, click_px: this.clickPx || 1, flat: this.flat,
      known_mm: this.known?.mm ?? null, known_error_mm: this.known?.error ?? 0,
      along_px: this.known?.along ?? null,
    };
  }
  /** Writes the drawn line down, and begins another. */
  async keepLine(name: string): Promise<boolean> {
    if (this.points.length < 2 || !(await this.#told(keepLine(this.where, { ...this.#asked(), name })))) return false;
    notice.say("Written down.");
    this.clear();
    return true;
  }
  async takeLineBack(): Promise<void> {
    if (await this.#told(undoLine(this.where))) notice.say("Taken back.");
  }
  /** Lays a line that was written down on the picture again. */
  lay(one: KeptLine): void {
    const { line } = one;
    this.known = line.known_mm && line.along_px ? { mm: line.known_mm, error: line.known_error_mm ?? 0, along: [line.along_px[0] as Corner, line.along_px[1] as Corner] } : null;
    this.flat = line.flat ?? false;
    this.clickPx = line.click_px ?? 1;
    this.held = -1;
    this.ruled(line.points_px.map(([x, y]): Corner => [x, y]));
  }
  /** Hears what stands without touching what is drawn. */
  async #told(asked: Promise<FinishSaid>): Promise<boolean> {
    try {
      this.told = await asked;
      this.error = "";
      return true;
    } catch (error) {
      this.error = sentence(error);
      return false;
    }
  }
  readonly point = (x: number, y: number): void => {
    const [wide, high] = this.size;
    if (x < -0.5 || y < -0.5 || x > wide - 0.5 || y > high - 0.5) return;
    // a picture's first pixel lies around 0, the viewer's begins there
    this.ruled([...this.points, [tenth(x - 0.5), tenth(y - 0.5)]]);
    this.held = this.points.length - 1;
  };
  readonly strokeLine = (phase: "down" | "move" | "up", x: number, y: number, scale: number): boolean => {
    if (phase === "down") {
      const away = this.points.map(([px, py]) => Math.hypot(px + 0.5 - x, py + 0.5 - y) * scale);
      const nearest = away.indexOf(Math.min(...away));
      if (nearest < 0 || (away[nearest] ?? Infinity) > SLACK) return false;
      this.held = nearest;
      return true;
    }
    this.#put(this.held, x - 0.5, y - 0.5);
    return true;
  };
  #put(at: number, x: number, y: number): void {
    const [wide, high] = this.size;
    const moved: Corner = [tenth(Math.min(Math.max(x, 0), wide - 1)), tenth(Math.min(Math.max(y, 0), high - 1))];
    this.ruled(this.points.map((one, i) => (i === at ? moved : one)));
  }
  nudgePoint(dx: number, dy: number): void {
    const held = this.points[this.held];
    if (held) this.#put(this.held, held[0] + dx, held[1] + dy);
  }
  nextPoint(): void {
    if (this.points.length) this.held = (this.held + 1) % this.points.length;
  }
  drop(): void {
    this.ruled(this.points.filter((_, i) => i !== this.held));
    this.held = Math.min(this.held, this.points.length - 1);
  }
  clear(): void {
    this.ruled([]);
    this.held = -1;
    this.error = "";
  }
  /** The line that is drawn is so long. */
  know(mm: number, error: number): void {
    const [a, b] = [this.points[0], this.points.at(-1)];
    if (!a || !b || this.points.length !== 2) return;
    this.known = { mm, error, along: [a, b] };
    this.ruled(this.points);
  }
  forget(): void {
    this.known = null;
    this.ruled(this.points);
  }
}

const tenth = (value: number) => Math.round(value * 10) / 10;
