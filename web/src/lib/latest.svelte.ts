/** Asks the same kind of question again and again, one at a time; only the newest waits. */
import { sentence } from "./api";

export class Latest<T> {
  value: T | undefined = $state.raw(undefined);
  error: string = $state("");
  busy: boolean = $state(false);
  #next: (() => Promise<T>) | undefined;
  #rest: number;

  /** After an answer it rests so many times as long as the answer took, for others to go first. */
  constructor(rest = 0) {
    this.#rest = rest;
  }

  /** While a handle is dragged, questions that were overtaken are never sent. */
  ask(question: () => Promise<T>): void {
    this.#next = question;
    if (!this.busy) void this.#work();
  }

  async #work(): Promise<void> {
    this.busy = true;
    while (this.#next) {
      const question = this.#next;
      this.#next = undefined;
      const begun = performance.now();
      try {
        this.value = await question();
        this.error = "";
      } catch (error) {
        this.error = sentence(error);
      }
      const pause = this.#rest * (performance.now() - begun);
      if (pause) await new Promise((on) => setTimeout(on, pause));
    }
    this.busy = false;
  }
}
