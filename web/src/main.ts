import { mount } from "svelte";
import App from "./App.svelte";
import { queue } from "./lib/queue.svelte";
import "./style.css";

// OpenSeadragon adds a style sheet unless it finds its mark; the content policy forbids that one
const mark = document.createElementNS("urn:none", "style");
mark.setAttribute("data-openseadragon-mobile-css", "");
document.head.append(mark);

const target = document.getElementById("bench");
if (target) {
  mount(App, { target });
  queue.follow();
}

// a picture that does not come leaves its place empty; what stands beside it tells of it
for (const [event, missing] of [["error", true], ["load", false]] as const)
  document.addEventListener(event, ({ target }) => {
    if (target instanceof HTMLImageElement) target.classList.toggle("missing", missing);
  }, true);
