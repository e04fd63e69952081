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
