// The frames of a shot as a ruler: ticks, the cut, how far the work is, notches for frames set aside.

const SPACE = "http://www.w3.org/2000/svg";
const STEPS = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000];
const BASE = 26;
const LABEL_ROOM = 58;

function part(name, attributes, text) {
  const element = document.createElementNS(SPACE, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  return element;
}

// Neighbouring frames share one notch: [[1014, 1016], [1040, 1040]].
export function runsOf(frames) {
  const runs = [];
  for (const frame of [...frames].sort((a, b) => a - b)) {
    const last = runs[runs.length - 1];
    if (last && frame === last[1] + 1) last[1] = frame;
    else runs.push([frame, frame]);
  }
  return runs;
}

export function inWords(runs) {
  return runs.map(([from, to]) => (from === to ? String(from) : from + " to " + to)).join(", ");
}

export function drawRuler(svg, view, width) {
  const { cut_first: cutFirst, cut_last: cutLast } = view.frames;
  const { first, last } = view.asked;
  const runs = runsOf(view.set_aside.map((each) => each.frame));
  const key = [width, first, last, view.progress.frames_done, view.progress.frames_set_aside, inWords(runs)].join("|");
  if (svg.dataset.key === key || width === 0) return;
  svg.dataset.key = key;
  const count = last - first + 1;
  const margin = 20;
  const at = (frame) => margin + ((frame - first) / count) * (width - 2 * margin);
  const middle = (frame) => at(frame + 0.5);
  svg.setAttribute("viewBox", "0 0 " + width + " 52");
  const aside = runs.length ? "; set aside: " + inWords(runs) : "";
  const label = "Frames " + first + " to " + last + ": " + view.progress.frames_done + " done" + aside;
  svg.setAttribute("aria-label", label);

  const parts = [part("line", { class: "base", x1: at(first), x2: at(last + 1), y1: BASE, y2: BASE })];
  const roomy = (width - 2 * margin) / LABEL_ROOM;
  const step = STEPS.find((each) => count / each <= roomy) || STEPS[STEPS.length - 1];
  const small = STEPS.find((each) => step % each === 0 && (each / count) * (width - 2 * margin) >= 6) || step;
  for (let frame = Math.ceil(first / small) * small; frame <= last; frame += small) {
    const long = frame % step === 0;
    parts.push(part("line", { class: "tick", x1: middle(frame), x2: middle(frame), y1: BASE - (long ? 9 : 4), y2: BASE }));
    if (long) parts.push(part("text", { x: middle(frame), y: BASE - 13 }, String(frame)));
  }
  if (cutFirst > first && cutFirst <= last) parts.push(part("path", { class: "cut", d: "M" + (at(cutFirst) + 4) + " 34H" + at(cutFirst) + "V22" }));
  if (cutLast < last && cutLast >= first) parts.push(part("path", { class: "cut", d: "M" + (at(cutLast + 1) - 4) + " 34H" + at(cutLast + 1) + "V22" }));

  const reached = view.progress.frames_done + view.progress.frames_set_aside;
  if (reached > 0) {
    const end = at(first + reached);
    let from = first;
    for (const [gap, gapEnd] of [...runs, [first + reached, first + reached]]) {
      const to = Math.min(gap, first + reached);
      if (to > from) parts.push(part("line", { class: "done", x1: at(from), x2: at(to), y1: BASE, y2: BASE }));
      from = gapEnd + 1;
    }
    if (reached < count) parts.push(part("path", { class: "here", d: "M" + end + " " + (BASE - 2) + "l-5 -9h10z" }));
  }
  let free = -Infinity;
  for (const [from, to] of runs) {
    const x = (middle(from) + middle(to)) / 2;
    parts.push(part("path", { class: "notch", d: "M" + at(from) + " " + BASE + "L" + x + " " + (BASE + 10) + "L" + at(to + 1) + " " + BASE }));
    const name = from === to ? String(from) : from + "\u2013" + to;
    const half = name.length * 3.5;
    if (x - half > free) {
      parts.push(part("text", { class: "aside", x, y: BASE + 23 }, name));
      free = x + half + 4;
    }
  }
  svg.replaceChildren(...parts);
}
