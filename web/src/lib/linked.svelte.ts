/** Several pictures that are looked at together: where one is moved, the others follow. */

export interface Shown {
  /** middle of what is seen, px from the place that each picture was opened at */
  dx: number;
  dy: number;
  /** screen pixels a picture pixel; 0 before anybody moved */
  zoom: number;
}

export class Linked {
  leader: string = $state("");
  shown: Shown = $state.raw({ dx: 0, dy: 0, zoom: 0 });

  /** Somebody moves this one now. */
  take(who: string): void {
    this.leader = who;
  }

  lead(who: string, shown: Shown): void {
    if (who === this.leader) this.shown = shown;
  }
}
