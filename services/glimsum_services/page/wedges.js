// The wedges of a shot: a plain list, each with its sheet and what its cells are.

import { askService } from "./sign_in.js";

const MOST_LISTED = 10;

function make(name, className, text) {
  const element = document.createElement(name);
  if (className) element.className = className;
  if (text) element.textContent = text;
  return element;
}

function variedWords(varied) {
  const number = varied.number === null ? "" : "#" + varied.number;
  const what = varied.field === "cue" ? " cue " + varied.cue : varied.field === "tint_mired" ? " tint" : "";
  return varied.name + number + what + " " + varied.values.join(", ");
}

function wedgeName(wedge) {
  return wedge.run.split("/")[1];
}

// Rises with every wedge of a shot; w1000 is newer than w999.
function wedgeNumber(wedge) {
  return Number(wedgeName(wedge).slice(1));
}

function standing(wedge) {
  const frames = (wedge.frames.length > 1 ? "frames " : "frame ") + wedge.frames.join(", ");
  const words = [frames + ": " + wedge.varied.map(variedWords).join("; ") + ": " + wedge.state];
  if (wedge.reason) words.push(wedge.reason);
  const remarks = wedge.state === "refused" ? wedge.problems.map((each) => each.what + "; seen: " + each.seen) : [];
  return words.concat(remarks).join(", ");
}

class Line {
  constructor() {
    this.element = make("li");
    this.name = make("a");
    this.words = make("span");
    this.room = make("div", "sheet");
    this.room.hidden = true;
    this.element.append(this.name, " ", this.words, this.room);
    this.name.addEventListener("click", (event) => {
      if (!this.made) return;
      event.preventDefault();
      this.turn();
    });
  }

  show(wedge) {
    const first = !this.wedge;
    if (!first && this.wedge.revision > wedge.revision) return;
    this.wedge = wedge;
    this.made = Boolean(wedge.links.sheet);
    this.name.href = wedge.links.sheet || wedge.links.self;
    if (first) this.name.textContent = wedgeName(wedge);
    this.name.setAttribute("aria-label", (this.made ? "Sheet of wedge " : "Wedge ") + wedgeName(wedge) + " of " + wedge.shot);
    if (this.made) this.name.setAttribute("aria-expanded", String(!this.room.hidden));
    const text = "of v" + String(wedge.version).padStart(3, "0") + ", " + standing(wedge);
    if (this.words.textContent !== text) this.words.textContent = text;
  }

  turn() {
    this.room.hidden = !this.room.hidden;
    this.name.setAttribute("aria-expanded", String(!this.room.hidden));
    if (this.room.hidden || this.room.childElementCount) return;
    const { wedge, run, links } = this.wedge;
    const sheet = make("img", "sheet");
    sheet.src = links.sheet;
    sheet.alt = "Sheet of " + run;
    const cells = make("ol");
    wedge.cells.forEach((cell) => cells.append(make("li", "", cell.words + (cell.as_it_is ? ", as it is" : ""))));
    this.room.append(sheet, cells);
  }
}

export class Wedges {
  constructor() {
    this.element = make("div", "wedges");
    this.element.hidden = true;
    this.list = make("ul");
    this.element.append(make("p", "", "Wedges"), this.list);
    this.lines = new Map();
    this.count = 0;
  }

  // Asks for the list when there are other wedges than before; events tell the rest.
  async show(view) {
    if (view.wedges === this.count) return;
    this.count = view.wedges;
    try {
      const page = await askService("/wedges?limit=" + MOST_LISTED + "&shot=" + encodeURIComponent(view.shot));
      page.wedges.forEach((wedge) => this.tell(wedge));
    } catch {
      this.count = -1; // the next change asks again
    }
  }

  // What is listed may be old: the next view asks for the list again.
  askAgain() {
    this.count = -1;
  }

  // The list and events come in any order, and an event may tell of a wedge too old to be listed.
  tell(wedge) {
    let line = this.lines.get(wedgeNumber(wedge));
    if (!line) {
      line = new Line();
      this.place(line, wedgeNumber(wedge));
    }
    line.show(wedge);
    if (this.lines.size > MOST_LISTED) this.forgetOldest();
    this.element.hidden = false;
  }

  // Newest on top; a line never moves, so focus is kept.
  place(line, number) {
    const below = [...this.lines.keys()].filter((each) => each < number);
    const next = below.length ? this.lines.get(Math.max(...below)).element : null;
    this.list.insertBefore(line.element, next);
    this.lines.set(number, line);
  }

  forgetOldest() {
    const oldest = Math.min(...this.lines.keys());
    this.lines.get(oldest).element.remove();
    this.lines.delete(oldest);
  }
}
