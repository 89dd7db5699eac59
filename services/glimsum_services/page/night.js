// The night report: asked for once, told from top to bottom. Everything shown is set as text.

import { askService } from "./sign_in.js";

const MOST_MATTERS = 40;
const AGAIN_MS = 2000; // until everything was read; a million frames take several answers

function make(name, className, text) {
  const element = document.createElement(name);
  if (className) element.className = className;
  if (text) element.textContent = text;
  return element;
}

function counted(count, one, many) {
  return count + " " + (count === 1 ? one : many);
}

function clock(time) {
  const told = { weekday: "short", hour: "2-digit", minute: "2-digit" };
  return new Date(time).toLocaleString(undefined, told);
}

function secondsInWords(seconds) {
  if (seconds < 90) return seconds + " s";
  if (seconds < 5400) return Math.round(seconds / 60) + " min";
  return (seconds / 3600).toFixed(1) + " h";
}

function matterItem(matter, named) {
  const item = make("li", matter.kind === "remark" ? "remark" : "");
  const head = make("strong", "", matter.kind + ": ");
  const about = [];
  if (named && matter.run) about.push(matter.run);
  if (matter.pass_name) about.push("pass " + matter.pass_name);
  if (matter.frames) about.push((matter.count === 1 ? "frame " : "frames ") + matter.frames);
  item.append(head, about.join(", ") + (about.length ? ": " : "") + matter.what);
  if (matter.seen || matter.expected) {
    item.append(make("div", "seen", [["seen", matter.seen], ["expected", matter.expected]]
      .filter((each) => each[1]).map((each) => each[0] + ": " + each[1]).join("; ")));
  }
  if (matter.remedy) item.append(make("div", "remedy", matter.remedy));
  return item;
}

function fillMatters(list, matters, more, named) {
  list.replaceChildren(...matters.slice(0, MOST_MATTERS).map((each) => matterItem(each, named)));
  const rest = more + Math.max(0, matters.length - MOST_MATTERS);
  if (rest) list.append(make("li", "", counted(rest, "more matter is", "more matters are") + " in the data: /report"));
  list.hidden = list.children.length === 0;
}

function countWords(shot) {
  const words = [shot.state, shot.made + " of " + counted(shot.asked, "frame", "frames") + " made"];
  if (shot.reused) words.push(shot.reused + " of them taken over");
  if (shot.set_aside) words.push(shot.set_aside + " set aside");
  if (shot.left) words.push(shot.left + " left");
  if (shot.reason) words.push(shot.reason);
  return words.join(", ");
}

function timeWords(shot) {
  const words = [];
  if (shot.frame_seconds) {
    const { median, p95, longest } = shot.frame_seconds;
    words.push("A frame took " + secondsInWords(median) + " (median), " + secondsInWords(p95) + " (19 of 20), " + secondsInWords(longest) + " (longest).");
  }
  if (shot.flashes) words.push("Flash guard: " + shot.flashes + ".");
  if (shot.slowest.length) words.push("Slowest: " + shot.slowest.map((each) => each.frame + " (" + secondsInWords(each.seconds) + ")").join(", ") + ".");
  if (shot.machines.length) words.push("Made by " + shot.machines.map((each) => each.host + " " + each.frames).join(", ") + ".");
  if (shot.came_back) words.push(counted(shot.came_back, "item was", "items were") + " begun more than once.");
  if (shot.made_again) words.push(counted(shot.made_again, "frame was", "frames were") + " entered more than once.");
  return words.join(" ");
}

function figureWords(shot) {
  if (!shot.extremes.length) return "";
  return "Largest: " + shot.extremes.map((each) => each.name.replaceAll("_", " ") + " " + Number(each.value.toPrecision(3)) + " on frame " + each.frame).join(", ") + ".";
}

function shotPart(shot) {
  const part = make("article");
  part.dataset.run = shot.run;
  const title = make("h3", "", shot.shot + " ");
  title.append(make("span", "version", "v" + String(shot.version).padStart(3, "0")));
  const times = clock(shot.begun) + (shot.ended ? " to " + clock(shot.ended) : ", not ended");
  part.append(title, make("p", "state", countWords(shot)));
  const matters = make("ul", "matters");
  fillMatters(matters, shot.matters, shot.more, false);
  const remarks = make("ul", "matters");
  fillMatters(remarks, shot.remarks, 0, false);
  part.append(matters, remarks, make("p", "told", [times + ".", timeWords(shot), figureWords(shot)].filter(Boolean).join(" ")));
  const place = make("p", "paths", "In ");
  place.append(make("code", "", shot.folder), ".");
  part.append(place);
  return part;
}

function machineWords(machine) {
  const state = machine.silent ? "silent since " + clock(machine.heard) : "at work";
  const lacks = Object.entries(machine.lacks).map(([run, lack]) => "; can't work on " + run + ": " + lack).join("");
  return machine.host + ", " + counted(machine.slots, "slot", "slots") + ": " + state + lacks;
}

function fill(id, lines) {
  const list = document.getElementById(id);
  list.replaceChildren(...lines.map((line) => make("li", "", line)));
  list.hidden = lines.length === 0;
  const none = document.getElementById(id + "-none");
  if (none) none.hidden = lines.length > 0;
}

function show(report) {
  const { totals } = report;
  const words = [counted(totals.shots, "version", "versions"), totals.made + " of " + counted(totals.asked, "frame", "frames") + " made"];
  if (totals.set_aside) words.push(totals.set_aside + " set aside");
  if (totals.left) words.push(totals.left + " left");
  if (totals.refused) words.push(totals.refused + " refused");
  if (totals.cancelled) words.push(totals.cancelled + " cancelled");
  document.getElementById("totals").textContent = words.join(", ");
  fillMatters(document.getElementById("first"), report.first, report.more_first, true);
  document.getElementById("first-none").hidden = report.first.length + report.more_first > 0;
  document.getElementById("shots").replaceChildren(...report.shots.map(shotPart));
  document.getElementById("shots-none").hidden = report.shots.length > 0;
  const shares = report.shares.map((each) => each.host + " made " + counted(each.frames, "frame", "frames") + " in " + secondsInWords(Math.round(each.hours * 3600)) + " of slots");
  fill("machines", [...report.machines.map(machineWords), ...shares]);
  fill("gaps", report.gaps.map((gap) => clock(gap.first) + " to " + clock(gap.last) + ", " + secondsInWords(gap.minutes * 60) + ": " + gap.why));
  fill("notes", report.notes);
  document.getElementById("notes-part").hidden = report.notes.length === 0;
  document.getElementById("report").hidden = false;
  if (report.unread) again();
  const since = report.since ? "From " + clock(report.since) + " to " : "Up to ";
  const line = document.getElementById("line");
  line.textContent = since + clock(report.at) + ".";
  line.classList.remove("down");
}

function again() {
  setTimeout(() => load().catch((error) => { fail(error); again(); }), AGAIN_MS);
}

function fail(error) {
  const line = document.getElementById("line");
  line.textContent = "The report can't be shown: " + error.message;
  line.classList.add("down");
}

async function load() {
  const asked = new URLSearchParams(location.search);
  const wanted = new URLSearchParams();
  const hours = Number(asked.get("hours"));
  if (hours > 0 && hours < 100000) wanted.set("since", new Date(Date.now() - hours * 3600000).toISOString());
  if (asked.get("name")) wanted.set("name", asked.get("name"));
  show(await askService("/report?" + wanted));
}

document.getElementById("day").textContent = new Date().toLocaleDateString(undefined, { weekday: "long", year: "numeric", month: "long", day: "numeric" });
load().catch(fail);
