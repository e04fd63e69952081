import { describe, expect, it } from "vitest";
import {
  at, barLength, calmScale, figures, magnificationAt, placeAt, power, powerBeside, seconds, stopAt, stopBeside, stops,
} from "./plan";
import { OF_LENS, OF_LIGHT, written } from "./readings";

const track = [
  { magnification: 0.5, glass_mm: 150, pupil_mm: 180 },
  { magnification: 1, glass_mm: 90, pupil_mm: 120 },
  { magnification: 2, glass_mm: 60, pupil_mm: 90 },
];
const openings = [2.8, 4, 5.6, 8, 11].map((f_number) => ({ f_number, width_mm: 30 / f_number }));
const places = [60, 90, 130].map((distance_mm, k) => ({ power: 2 ** k, name: `${k}`, distance_mm }));

describe("a handle", () => {
  it("moved to where the lens stands shows the magnification it came from", () => {
    for (const m of [0.5, 0.7, 1, 1.6, 2]) {
      expect(magnificationAt(track, placeAt(track, m).glass_mm)).toBeCloseTo(m);
    }
  });
  it("moved beyond what the kit reaches stays at its end", () => {
    expect(magnificationAt(track, 10)).toBe(2);
    expect(magnificationAt(track, 999)).toBe(0.5);
    expect(placeAt(track, 9).glass_mm).toBe(60);
  });
  it("of the ring stops at marks only", () => {
    expect(stopAt(openings, 30 / 7)).toBe(8);
    expect(stopBeside(openings, 5.6, 1)).toBe(8);
    expect(stopBeside(openings, 5.6, -9)).toBe(2.8);
    expect(stopBeside(openings, 5.6, 9)).toBe(11);
  });
  it("of the flash goes on to the next step of its dial, and stays after the last", () => {
    expect(powerBeside(places, 90, 1)).toBe(130);
    expect(powerBeside(places, 90, -1)).toBe(60);
    expect(powerBeside(places, 130, 1)).toBe(130);
  });
});

describe("a drawing", () => {
  it("keeps to few scales, never larger than what fits", () => {
    expect(calmScale(3.1)).toBe(2.5);
    expect(calmScale(0.13)).toBeCloseTo(0.125);
    expect(calmScale(8)).toBeCloseTo(8);
    expect([calmScale(0), calmScale(-2), calmScale(NaN)]).toEqual([0.01, 0.01, 0.01]);
  });
  it("has a bar of a round length", () => {
    expect(barLength(3, 150)).toBe(50);
    expect(barLength(100, 110)).toBe(1);
  });
});

describe("a number", () => {
  it("has as many figures as it is known to", () => {
    expect([figures(0.1368), figures(90, 3), figures(1.5, 3), figures(200, 6)]).toEqual(["0.14", "90", "1.5", "200"]);
    expect([figures(-2.26), figures(undefined), figures(NaN), figures(0)]).toEqual(["\u22122.3", "\u2013", "\u2013", "0"]);
    expect(figures(35382, 2)).toBe("35000");
  });
  it("is written as on the dial", () => {
    expect([power(1), power(0.0625), power(0.0625 * 2 ** (1 / 3))]).toEqual(["full", "1/16", "1/16 +1/3"]);
    expect([seconds(0.005), seconds(2.4), seconds(1 / 35382)]).toEqual(["1/200 s", "2.4 s", "1/35000 s"]);
    expect([stops(-2.31), stops(1), stops(0.02)]).toEqual(["2.3 stops under", "1.0 stop over", "even"]);
  });
  it("is found by its key, and a missing one is a dash", () => {
    const answer = { flash: { power: null, distance_mm: 90 }, field_mm: [11.53, 8.6] };
    expect(at(answer, "flash.distance_mm")).toBe(90);
    expect(at(answer, "flash.power.more")).toBeUndefined();
    const reading = (list: typeof OF_LENS, key: string) => list.find((one) => one.key === key)!;
    expect(written(reading(OF_LENS, "field_mm"), answer)).toBe("11.5 \u00D7 8.6 mm");
    expect(written(reading(OF_LIGHT, "flash.power_step"), answer)).toBe("\u2013");
    expect(written(reading(OF_LIGHT, "flash.distance_mm"), answer)).toBe("90 mm");
  });
});
