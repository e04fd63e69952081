/** Follows the long work of this book: one stream for all of it, closed while nobody looks. */
import type { JobSaid, Schemas } from "./api";
import { changes } from "./changes.svelte";

class Queue {
  jobs: JobSaid[] = $state.raw([]);
  /** whether the bench stopped to tell of its work; the browser asks again by itself */
  lost: boolean = $state(false);
  #source: EventSource | null = null;
  #mark = "";

  follow(): void {
    const look = () => {
      if (document.hidden) this.#close();
      else this.#open();
    };
    document.addEventListener("visibilitychange", look);
    look();
  }

  get busy(): JobSaid[] {
    return this.jobs.filter((job) => job.state === "queued" || job.state === "running");
  }

  /** The last job on a run, or of a kind where the run is empty. */
  last(outing: number | null, run: string, kinds: JobSaid["kind"][]): JobSaid | undefined {
    return this.jobs
      .filter((job) => job.outing === outing && job.run === run && kinds.includes(job.kind))
      .sort((a, b) => b.id - a.id)[0];
  }

  #open(): void {
    if (this.#source) return;
    this.#source = new EventSource("/api/jobs/follow");
    let timer: ReturnType<typeof setTimeout> | undefined;
    this.#source.addEventListener("error", () => {
      timer ??= setTimeout(() => (this.lost = true), 2500);
    });
    this.#source.addEventListener("open", () => {
      clearTimeout(timer);
      timer = undefined;
      this.lost = false;
    });
    this.#source.addEventListener("queue", (event: MessageEvent<string>) => {
      const said = JSON.parse(event.data) as Schemas["Queue"];
      this.jobs = said.jobs;
      // another page, the command line or a job wrote into the book: what is shown is asked anew
      if (this.#mark && this.#mark !== said.mark) changes.happened();
      this.#mark = said.mark;
    });
  }

  #close(): void {
    this.#source?.close();
    this.#source = null;
  }
}

export const queue = new Queue();

/** Says how far a job is, in words. */
export function progress(job: JobSaid): string {
  if (job.state === "queued") return "waits for its turn";
  const parts = job.total > 1 ? `, ${job.done} of ${job.total}` : "";
  return `${job.step || "starting"}${parts}`;
}
