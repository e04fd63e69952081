/** Where the page is now, followed by every view. */
import { readPlace, writePlace, type Place } from "./place";

class Here {
  place: Place = $state.raw(readPlace(location.hash));

  constructor() {
    addEventListener("hashchange", () => (this.place = readPlace(location.hash)));
  }

  /** Goes somewhere, so that the browser's own back comes here again. */
  go(place: Partial<Place>): void {
    location.hash = writePlace(place);
  }

  /** Notes a small step, which back shall not walk through one by one. */
  note(change: Partial<Place>): void {
    const place = { ...this.place, ...change };
    history.replaceState(null, "", writePlace(place));
    this.place = place;
  }
}

export const here = new Here();
