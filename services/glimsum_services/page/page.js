// The call sheet: loads the shots, then follows what happens and puts each shot where it belongs.

import { Shot, nameOf, sectionOf } from "./shot.js";
import { askService, isSigningIn } from "./sign_in.js";

const RETRY_MS = 3000;
const MACHINES_MS = 20000;
const SILENT = "The line to the service is down; trying again. What is shown may be old.";
const known = new Map();
const line = document.getElementById("line");
const news = document.getElementById("news");
const more = document.getElementById("more");
const toldEarly = new Set(); // shots whose wedges were told of before the shot itself
let after = null;
let asked = Promise.resolve(); // lists are asked for one after the other
let trouble = "";
let connected = false;
let machines = null;

function say(text, down) {
  if (line.textContent !== text) line.textContent = text;
  line.classList.toggle("down", down);
}

function sayLine() {
  if (isSigningIn()) return say("This service asks for a token.", false);
  if (!connected) return say(SILENT, true);
  if (trouble) return say(trouble, true);
  if (machines !== null && machines.length === 0) return say("No machine works now: start \u201cglimsum worker\u201d on one.", true);
  if (machines === null) return say("Live.", false);
  const slots = machines.reduce((sum, each) => sum + each.slots, 0);
  const words = machines.length === 1 ? "1 machine" : machines.length + " machines";
  return say("Live: " + words + ", " + slots + (slots === 1 ? " slot." : " slots."), false);
}

// Newest on top in its section; a shot that stays where it is is not moved, so focus is kept.
function place(entry) {
  const section = document.getElementById(sectionOf(entry.view));
  if (entry.shot.element.parentElement === section) return;
  const later = [...section.querySelectorAll("article")].find((each) => known.get(each.dataset.shot).view.made < entry.view.made);
  section.insertBefore(entry.shot.element, later || null);
}

function show(view, quiet) {
  const entry = known.get(view.shot) || { shot: new Shot(), view: null };
  const before = entry.view;
  if (before && before.version > view.version) entry.shot.earlier.tell(view);
  if (before && (before.version > view.version || (before.version === view.version && before.revision > view.revision))) return;
  entry.view = view;
  known.set(view.shot, entry);
  if (toldEarly.delete(view.shot)) entry.shot.wedges.askAgain();
  entry.shot.show(view);
  place(entry);
  if (quiet) return;
  if (!before || before.state !== view.state) news.textContent = nameOf(view) + ": " + view.state;
  else if (before.progress.frames_set_aside < view.progress.frames_set_aside) news.textContent = nameOf(view) + ": a frame was set aside";
}

function tellWedge(wedge) {
  const entry = known.get(wedge.shot);
  if (entry) entry.shot.wedges.tell(wedge);
  else toldEarly.add(wedge.shot);
}

async function list(from) {
  const page = await askService("/shots?limit=50" + (from ? "&after=" + encodeURIComponent(from) : ""));
  page.shots.forEach((view) => show(view, true));
  after = page.after;
  more.hidden = after === null;
  document.querySelector("main").classList.remove("loading");
  return page.shots.map((view) => view.shot);
}

// Asks for everything that is shown, and takes away what is not there any more.
async function renew() {
  const left = new Set(known.keys());
  known.forEach((entry) => entry.shot.wedges.askAgain());
  after = null;
  do (await list(after)).forEach((name) => left.delete(name));
  while (after !== null && left.size);
  left.forEach((name) => {
    known.get(name).shot.element.remove();
    known.delete(name);
  });
}

function ask(what) {
  asked = asked.then(what).catch((error) => {
    document.querySelectorAll(".asking").forEach((each) => (each.textContent = "The list could not be loaded; it will be when the service answers."));
    say(error.message, true);
    setTimeout(() => ask(what), RETRY_MS);
  });
}

async function askMachines() {
  if (isSigningIn()) return;
  try {
    machines = (await askService("/workers")).workers;
    trouble = "";
  } catch (error) {
    machines = null;
    // A request that got no answer at all says so in the browser's own words; the page has better ones.
    trouble = error instanceof TypeError ? SILENT : error.message;
  }
  sayLine();
}

function follow() {
  const stream = new EventSource("/events");
  stream.addEventListener("open", () => {
    connected = true;
    sayLine();
  });
  stream.addEventListener("shot", (event) => show(JSON.parse(event.data), false));
  stream.addEventListener("wedge", (event) => tellWedge(JSON.parse(event.data)));
  stream.addEventListener("snapshot", () => ask(renew));
  stream.addEventListener("silence", (event) => {
    trouble = JSON.parse(event.data).what + "; work goes on by itself when it does.";
    sayLine();
  });
  stream.addEventListener("error", () => {
    connected = false;
    sayLine();
    if (stream.readyState === EventSource.CLOSED) setTimeout(follow, RETRY_MS);
  });
}

document.getElementById("day").textContent = new Date().toLocaleDateString(undefined, { weekday: "long", year: "numeric", month: "long", day: "numeric" });
more.addEventListener("click", () => ask(() => list(after)));
ask(renew);
follow();
askMachines();
setInterval(askMachines, MACHINES_MS);
