/** Counts what was changed from here, so that what is shown is asked for again. */

class Changes {
  count: number = $state(0);

  happened(): void {
    this.count += 1;
  }
}

export const changes = new Changes();
