/** Whether this page is a phone that only looks on, and whether phones may join this bench. */
import { phone, type Schemas } from "./api";

class Looking {
  said: Schemas["PhoneSaid"] | undefined = $state.raw(undefined);

  async ask(): Promise<void> {
    try {
      this.said = await phone();
    } catch {
      return; // the views say what is wrong with the bench
    }
    document.documentElement.toggleAttribute("data-looks-only", this.said.only_looks);
  }
}

export const looking = new Looking();
