/** An answer on its way: empty at first, then there, or a sentence why not. */
import { sentence } from "./api";

export class Asked<T> {
  value: T | undefined = $state.raw(undefined);
  error: string = $state("");
  #turn = 0;

  /** Asks; what was there stays until the new answer comes, unless it is of something else. */
  async ask(question: () => Promise<T>, afresh = false): Promise<void> {
    const turn = ++this.#turn;
    if (afresh) this.value = undefined;
    try {
      const value = await question();
      if (turn !== this.#turn) return;
      this.value = value;
      this.error = "";
    } catch (error) {
      if (turn === this.#turn) this.error = sentence(error);
    }
  }
}
