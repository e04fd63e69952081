/** One line at the foot of the page that says what was just done. */

class Notice {
  text: string = $state("");
  bad: boolean = $state(false);
  #timer: ReturnType<typeof setTimeout> | undefined;

  say(text: string, bad = false): void {
    this.text = text;
    this.bad = bad;
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => (this.text = ""), bad ? 12000 : 4000);
  }
}

export const notice = new Notice();
