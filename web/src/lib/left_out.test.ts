import { beforeEach, expect, test, vi } from "vitest";

vi.hoisted(() => {
  const notes = new Map<string, string>();
  globalThis.sessionStorage = {
    getItem: (name: string) => notes.get(name) ?? null,
    setItem: (name: string, text: string) => void notes.set(name, text),
    clear: () => notes.clear(),
  } as Storage;
});
const { LeftOut } = await import("./left_out.svelte");

beforeEach(() => sessionStorage.clear());

test("what is left out is taken back step by step, each sweep by itself", () => {
  const out = new LeftOut();
  out.set(1, "run-02", ["a.jpg"], "a.jpg left out");
  out.set(1, "run-03", ["b.jpg"], "b.jpg left out");
  out.set(1, "run-02", ["a.jpg", "c.jpg"], "c.jpg left out");
  expect(out.back()).toBe("c.jpg left out");
  expect(out.of(1, "run-02")).toEqual(["a.jpg"]);
  expect(out.back()).toBe("b.jpg left out");
  expect(out.of(1, "run-03")).toEqual([]);
  expect(out.back()).toBe("a.jpg left out");
  expect(out.back()).toBeNull();
});

test("a decision that came later is taken back first", () => {
  const out = new LeftOut();
  out.set(1, "run-02", ["a.jpg"], "a.jpg left out");
  out.decided();
  expect(out.back()).toBeNull();
  expect(out.of(1, "run-02")).toEqual(["a.jpg"]);
  out.undecided();
  expect(out.back()).toBe("a.jpg left out");
});

test("a decision that came before leaves nothing to skip", () => {
  const out = new LeftOut();
  out.decided();
  out.set(1, "run-02", ["a.jpg"], "a.jpg left out");
  expect(out.back()).toBe("a.jpg left out");
  expect(out.back()).toBeNull();
});

test("it outlives a reload, and what a broken note says is forgotten", () => {
  new LeftOut().set(1, "run-02", ["a.jpg"], "a.jpg left out");
  const again = new LeftOut();
  expect(again.of(1, "run-02")).toEqual(["a.jpg"]);
  expect(again.back()).toBe("a.jpg left out");
  sessionStorage.setItem("haltere-left-out", "{");
  expect(new LeftOut().of(1, "run-02")).toEqual([]);
});
