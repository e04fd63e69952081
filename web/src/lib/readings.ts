/** Which numbers of a plan are shown, by the keys of `haltere plan --json`. */
import { at, chance, figures, power, seconds, stops, type Answer } from "./plan";

export interface Reading {
  key: string;
  label: string;
  unit: string;
  write: (value: unknown, answer: Answer) => string;
}

const plain = (digits: number) => (value: unknown) => figures(value, digits);
const whole = (value: unknown) => (value === null ? "more than 500" : figures(value, 9));

export const OF_LENS: Reading[] = [
  { key: "magnification", label: "on the sensor", unit: ":1", write: plain(3) },
  { key: "working_distance_mm", label: "room to the animal", unit: "mm",
    write: (value, answer) => `${answer.working_distance_source === "thin lens" ? "about " : ""}${figures(value)}` },
  { key: "field_mm", label: "in the frame", unit: "mm",
    write: (value) => (Array.isArray(value) ? value.map((side) => figures(side, 3)).join(" \u00D7 ") : "\u2013") },
  { key: "um_per_px", label: "a pixel covers", unit: "\u00B5m", write: plain(2) },
];

export const AS_DRAWN: Reading[] = [
  { key: "f_number_marked", label: "on the ring", unit: "f/", write: plain(2) },
  { key: "f_number_effective", label: "at the sensor", unit: "f/", write: plain(2) },
  { key: "depth_of_field_mm.geometric", label: "sharp depth", unit: "mm", write: plain(2) },
  { key: "depth_of_field_mm.combined", label: "with diffraction", unit: "mm", write: plain(2) },
  { key: "effective_megapixels", label: "detail left", unit: "megapixels", write: plain(2) },
  { key: "airy_um", label: "spot of a point", unit: "\u00B5m", write: plain(2) },
  { key: "blur_px", label: "blur by hand and animal", unit: "px", write: plain(2) },
  { key: "burst.frame_chance", label: "frames with sharp eyes", unit: "", write: chance },
  { key: "burst.frames_for_90", label: "frames for a sharp one, 90 %", unit: "", write: whole },
];

export const OF_SWEEP: Reading[] = [
  { key: "step_mm", label: "step", unit: "mm", write: plain(2) },
  { key: "frames", label: "frames", unit: "", write: whole },
  { key: "push_mm_s", label: "push", unit: "mm/s", write: plain(2) },
  { key: "sweep.seconds", label: "a pass takes", unit: "s", write: plain(2) },
  { key: "sweep.passes", label: "passes", unit: "",
    write: (value) => (value === null ? "more than 12" : figures(value, 3)) },
];

export const OF_LIGHT: Reading[] = [
  { key: "flash.power_step", label: "flash power", unit: "", write: power },
  { key: "flash.distance_mm", label: "flash to animal", unit: "mm", write: plain(3) },
  { key: "flash.duration_s", label: "it burns", unit: "", write: seconds },
  { key: "flash.recycle_s", label: "it recycles in", unit: "s", write: plain(2) },
  { key: "ambient_stops", label: "daylight", unit: "", write: stops },
  { key: "iso", label: "ISO", unit: "", write: plain(6) },
  { key: "shutter_s", label: "shutter", unit: "", write: seconds },
];

/** Rows of the two settings, under settings.single and settings.sweep. */
export const OF_SETTINGS: Reading[] = [
  { key: "f_number", label: "f-number", unit: "f/", write: plain(2) },
  { key: "depth_of_field_mm", label: "sharp depth", unit: "mm", write: plain(2) },
  { key: "effective_megapixels", label: "detail left", unit: "megapixels", write: plain(2) },
  { key: "flash_power", label: "flash power", unit: "", write: power },
  { key: "ambient_stops", label: "daylight", unit: "", write: stops },
];
export const OF_SINGLE: Reading[] = [
  { key: "frame_chance", label: "frames with sharp eyes", unit: "", write: chance },
];
export const OF_PUSH: Reading[] = [
  { key: "step_mm", label: "step", unit: "mm", write: plain(2) },
  { key: "frames", label: "frames", unit: "", write: whole },
  { key: "push_mm_s", label: "push", unit: "mm/s", write: plain(2) },
  { key: "passes", label: "passes", unit: "",
    write: (value) => (value === null ? "more than 12" : figures(value, 3)) },
];

/** A number with its unit, as read aloud or printed. */
export function written(one: Reading, answer: Answer, under = ""): string {
  const text = one.write(at(answer, under + one.key), answer);
  if (text === "\u2013" || !one.unit) return text;
  return one.unit === "f/" ? `f/${text}` : one.unit === ":1" ? `${text}:1` : `${text} ${one.unit}`;
}
