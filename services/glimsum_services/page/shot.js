// One shot on the call sheet. Everything shown is set as text, never as markup.

import { drawRuler } from "./ruler.js";
import { askService } from "./sign_in.js";
import { Wedges } from "./wedges.js";

const MOST_REASONS = 12;
const MOST_CHANGES = 12;

function make(name, className) {
  const element = document.createElement(name);
  if (className) element.className = className;
  return element;
}

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
  element.hidden = text === "";
}

export function versionName(version) {
  return "v" + String(version).padStart(3, "0");
}

export function nameOf(view) {
  return view.shot + " " + versionName(view.version);
}

export function timeInWords(seconds) {
  if (seconds < 90) return Math.max(1, Math.round(seconds)) + " s";
  const minutes = Math.round(seconds / 60);
  if (minutes < 120) return minutes + " min";
  return Math.floor(minutes / 60) + " h " + (minutes % 60) + " min";
}

export function standing(view) {
  const { progress, counts, stage } = view;
  const words = [view.state];
  const at = counts[stage];
  if (stage === "measure" && at && view.ended === null) {
    const all = at.waiting + at.working + at.done + at.set_aside;
    words.push(at.done + at.set_aside + " of " + all + " measurements");
  }
  words.push(progress.frames_done + " of " + progress.frames_total + " frames");
  if (view.reused) words.push(view.reused + " of them taken over");
  if (progress.frames_set_aside) words.push(progress.frames_set_aside + " set aside");
  if (progress.seconds_left !== null) words.push("about " + timeInWords(progress.seconds_left) + " left");
  if (view.reason) words.push(view.reason);
  return words.join(", ");
}

function changeWords(view) {
  const told = view.changes.slice(0, MOST_CHANGES);
  if (view.changes.length > told.length) told.push("and " + (view.changes.length - told.length) + " more");
  return told.length ? "Changed against " + versionName(view.earlier) + ": " + told.join("; ") + "." : "";
}

export function sectionOf(view) {
  if (view.state === "cancelled") return "done";
  if (view.state === "refused" || view.state === "done with remarks") return "needs";
  if (view.progress.frames_set_aside > 0) return "needs";
  return view.state === "done" ? "done" : "tonight";
}

function problemText(problem) {
  const where = Object.entries(problem.where).map(([name, value]) => name + " " + value).join(", ");
  let text = problem.what;
  if (where) text += " (" + where + ")";
  if (problem.seen || problem.expected) text += "; seen: " + problem.seen + "; expected: " + problem.expected;
  return problem.remedy ? text + ". " + problem.remedy : text;
}

function fillList(list, lines) {
  const key = JSON.stringify(lines);
  list.hidden = lines.length === 0;
  if (list.dataset.key === key) return;
  list.dataset.key = key;
  list.replaceChildren(...lines.map(([text, className]) => {
    const item = make("li", className);
    item.textContent = text;
    return item;
  }));
}

function asideLines(view) {
  const lines = view.set_aside.slice(0, MOST_REASONS)
    .map((each) => ["Frame " + each.frame + " was set aside: " + each.reason, ""]);
  const rest = view.progress.frames_set_aside - lines.length;
  if (rest > 0) lines.push([rest + " more frames were set aside; the frame list names them.", ""]);
  return lines;
}

function problemLines(view) {
  const shown = view.problems.filter((each) => each.rank !== "stops a frame");
  const lines = shown.slice(0, MOST_REASONS)
    .map((each) => [each.rank + ": " + problemText(each), each.rank === "remark" ? "remark" : ""]);
  if (shown.length > MOST_REASONS) lines.push([shown.length - MOST_REASONS + " more problems.", ""]);
  return lines;
}

// Earlier versions of a shot: each link opens and closes that version below the shot.
class Earlier {
  constructor() {
    this.links = make("span", "earlier");
    this.links.hidden = true;
    this.room = make("div", "older");
    this.room.hidden = true;
    this.open = null;
    this.shot = null;
    this.key = "";
  }

  show(view) {
    const versions = view.versions.filter((version) => version < view.version);
    const key = view.shot + " " + versions.join(" ");
    if (this.key === key) return;
    this.key = key;
    this.links.hidden = versions.length === 0;
    this.links.replaceChildren(versions.length ? "earlier: " : "");
    versions.forEach((version, index) => {
      if (index) this.links.append(", ");
      this.links.append(this.link(view.shot, version));
    });
  }

  link(shot, version) {
    const link = make("a");
    link.href = "/shots/" + encodeURIComponent(shot) + "/versions/" + version;
    link.textContent = versionName(version);
    link.setAttribute("aria-label", "Earlier version " + versionName(version) + " of " + shot);
    link.setAttribute("aria-expanded", String(this.open === version));
    link.addEventListener("click", (event) => {
      event.preventDefault();
      this.turn(version, link);
    });
    return link;
  }

  // What happens to a version that is open; answers and events come in any order.
  tell(view) {
    if (!this.shot || this.open !== view.version) return;
    if (!this.shot.view || this.shot.view.revision <= view.revision) this.shot.show(view);
  }

  async turn(version, link) {
    const closing = this.open === version;
    this.open = closing ? null : version;
    this.links.querySelectorAll("a").forEach((each) => each.setAttribute("aria-expanded", String(!closing && each === link)));
    this.room.hidden = closing;
    this.room.replaceChildren();
    this.shot = null;
    if (closing) return;
    try {
      const body = await askService(link.href);
      if (this.open !== version) return;
      this.shot ||= new Shot(true);
      this.room.replaceChildren(this.shot.element);
      this.tell(body);
    } catch (error) {
      if (this.open === version) this.room.textContent = versionName(version) + " can't be shown: " + error.message;
    }
  }
}

export class Shot {
  // An older version stands inside the article of its shot.
  constructor(older = false) {
    this.element = make(older ? "div" : "article");
    this.title = make(older ? "h4" : "h3");
    this.name = make("span");
    this.version = make("span", "version");
    this.title.append(this.name, " ", this.version);
    this.earlier = older ? null : new Earlier();
    if (this.earlier) this.title.append(" ", this.earlier.links);
    this.state = make("p", "state");
    this.changes = make("p", "changes");
    this.ruler = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    this.ruler.setAttribute("class", "ruler");
    this.ruler.setAttribute("role", "img");
    this.aside = make("ul", "aside");
    this.problems = make("ul", "problems");
    this.preview = make("img", "preview");
    this.preview.hidden = true;
    this.paths = make("p", "paths");
    this.folder = make("code");
    this.movie = make("a");
    this.movie.textContent = "Watch the movie";
    this.movieWords = make("span");
    this.movieWords.append(this.movie, ". ");
    this.job = make("a");
    this.job.textContent = "The job";
    this.frames = make("a");
    this.frames.textContent = "Frame list";
    this.paths.append("Masters, movie and contact sheet: ", this.folder, ". ", this.movieWords, this.job, ". ", this.frames, ".");
    this.element.append(this.title, this.state, this.changes, this.ruler, this.aside, this.problems, this.preview, this.paths);
    this.wedges = older ? null : new Wedges();
    if (this.earlier) this.element.append(this.wedges.element, this.earlier.room);
    new ResizeObserver(() => this.draw()).observe(this.element);
  }

  show(view) {
    this.view = view;
    this.element.dataset.shot = view.shot;
    setText(this.name, view.shot);
    setText(this.version, versionName(view.version));
    if (this.earlier) this.earlier.show(view);
    setText(this.state, standing(view));
    setText(this.changes, changeWords(view));
    fillList(this.aside, asideLines(view));
    fillList(this.problems, problemLines(view));
    setText(this.folder, view.folder);
    if (view.movie) this.movie.href = view.links.movie;
    this.movie.setAttribute("aria-label", "Watch the movie of " + nameOf(view));
    this.movieWords.hidden = !view.movie;
    this.job.href = view.links.job;
    this.job.setAttribute("aria-label", "The job of " + nameOf(view));
    this.frames.href = view.links.frames;
    this.frames.setAttribute("aria-label", "Frame list of " + nameOf(view));
    if (this.wedges) this.wedges.show(view);
    this.showPreview(view);
    this.draw();
  }

  showPreview(view) {
    if (view.newest_preview === null) {
      // One that was shown of this version stays; that of an earlier version does not.
      const own = (this.preview.getAttribute("src") || "").startsWith(view.links.frames + "/");
      if (!own) this.preview.hidden = true;
      return;
    }
    const address = view.links.frames + "/" + view.newest_preview + "/preview";
    this.preview.hidden = false;
    if (this.preview.getAttribute("src") === address) return;
    this.preview.src = address;
    this.preview.alt = "Frame " + view.newest_preview + " of " + nameOf(view);
  }

  draw() {
    if (this.view) drawRuler(this.ruler, this.view, this.element.clientWidth);
  }
}
