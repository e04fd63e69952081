/** Frames that a merge is to leave out, sweep by sweep, and the way back; they last as long as the browser's tab. */

/** What was left out before a step, and the step in words; null where the book wrote a decision down meanwhile. */
type Step = { where: string; before: string[]; what: string } | null;
interface Kept {
  sets: Record<string, string[]>;
  steps: Step[];
}

const NAME = "haltere-left-out";
const MOST_STEPS = 200;

function kept(): Kept {
  try {
    const { sets, steps } = JSON.parse(sessionStorage.getItem(NAME) ?? "") as Kept;
    return { sets: { ...sets }, steps: [...steps] };
  } catch {
    return { sets: {}, steps: [] };
  }
}

export class LeftOut {
  #now: Kept = $state.raw(kept());

  #keep(now: Kept): void {
    this.#now = { ...now, steps: now.steps.slice(-MOST_STEPS) };
    sessionStorage.setItem(NAME, JSON.stringify(this.#now));
  }

  of(outing: number, run: string): string[] {
    return this.#now.sets[`${outing} ${run}`] ?? [];
  }

  set(outing: number, run: string, names: string[], what: string): void {
    const where = `${outing} ${run}`;
    const { sets, steps } = this.#now;
    this.#keep({ sets: { ...sets, [where]: names }, steps: [...steps, { where, before: sets[where] ?? [], what }] });
  }

  /** The book wrote a decision down: the next step back is that one. */
  decided(): void {
    if (this.#now.steps.length) this.#keep({ ...this.#now, steps: [...this.#now.steps, null] });
  }

  /** The book took its last decision back. */
  undecided(): void {
    const { sets, steps } = this.#now;
    if (steps.at(-1) === null) this.#keep({ sets, steps: steps.slice(0, -1) });
  }

  /** Takes the last step back and says which; null where the book's own last decision comes first. */
  back(): string | null {
    const { sets, steps } = this.#now;
    const last = steps.at(-1);
    if (!last) return null;
    this.#keep({ sets: { ...sets, [last.where]: last.before }, steps: steps.slice(0, -1) });
    return last.what;
  }
}

export const leftOut = new LeftOut();
