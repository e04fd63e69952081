/** Whether somebody is being shown round; remembered, so that it is offered once. */
import { here } from "./here.svelte";
import type { Round } from "./round";

const KEPT = "haltere-round";

interface Kept {
  /** "waits" for the made-up outing, "goes" on, or has "ended" */
  state: "waits" | "goes" | "ended";
  round: Round | null;
  step: number;
}

function read(): Kept {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT) ?? "null") as Kept | null;
    if (kept && ["waits", "goes", "ended"].includes(kept.state)) return kept;
  } catch {
    // something else's: as if it had not been there
  }
  return { state: "ended", round: null, step: 0 };
}

class Rounding {
  kept: Kept = $state.raw(read());

  #keep(kept: Kept): void {
    this.kept = kept;
    localStorage.setItem(KEPT, JSON.stringify(kept));
  }

  /** Is shown round as soon as there is an outing. */
  wait(): void {
    this.#keep({ state: "waits", round: null, step: 0 });
  }

  begin(round: Round): void {
    this.#keep({ state: "goes", round, step: 0 });
    here.go({});
  }

  at(step: number): void {
    this.#keep({ ...this.kept, step });
  }

  end(): void {
    this.#keep({ state: "ended", round: null, step: 0 });
  }
}

export const rounding = new Rounding();
