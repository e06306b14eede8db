// Shows the view that comes over the WebSocket; sends the code, and the sound if it is asked to.
import { Microphone } from "/microphone.js";
import { Voice } from "/voice.js";

const $ = (id) => document.getElementById(id);
const root = document.documentElement;

const SIGNS = {
  pass: "M4 13l5 5L20 6",
  fail: "M5 5l14 14M19 5L5 19",
  marginal: "M3 10q4.500-5 9 0t9 0M3 17q4.500-5 9 0t9 0",
  none: "M4 12h16",
  void: "M4 12h16",
};
const ORDER = ["first", "second", "third", "fourth"];
const OLD = "No connection. What is shown is old.";
const SECURE =
  "A browser gives its microphone only to an https page. Start the tool with --share --https.";

let view = {};
let socket = null;
let patience = 250; // milliseconds until the next attempt to connect

// Texts -----------------------------------------------------------------------------------------

/** Changes a text only if it differs, so that a screen reader says nothing twice. */
function text(id, words) {
  const element = typeof id === "string" ? $(id) : id;
  if (element.textContent !== words) element.textContent = words;
}

function element(name, className, words = "") {
  const made = document.createElement(name);
  made.className = className;
  made.textContent = words;
  return made;
}

function look(wire, className) {
  const made = element("span", className + (wire.stripe ? " striped" : ""));
  made.style.setProperty("--main", wire.look[0]);
  made.style.setProperty("--stripe", wire.look.at(-1));
  made.style.display = "block";
  made.setAttribute("aria-hidden", "true");
  return made;
}

// Parts of the view -----------------------------------------------------------------------------

function showWires() {
  const leads = view.wires.length === 2 ? ["red lead ", "black lead "] : [""];
  $("wires").className = view.wires.length === 2 ? "pair" : "";
  $("wires").replaceChildren(
    ...view.wires.map((wire, index) => {
      const made = element("div", "wire");
      const name = element("p", "name");
      if (leads[index]) name.append(element("span", "lead", leads[index]));
      const whole = wire.name.startsWith(wire.colour) ? wire.colour : wire.name;
      name.append(element("span", "colour", whole), wire.name.slice(whole.length));
      made.append(look(wire, "look"), name);
      if (!leads[index]) made.append(element("p", "pin", `pin ${wire.pin}, ${wire.function}`));
      return made;
    }),
  );
}

function showNow() {
  const closed = view.part !== null && !view.step;
  document.body.toggleAttribute("data-closed", closed || view.finished !== "");
  text("part", closed ? view.part || "no part named" : "");
  text("prompt", view.wires.length ? "" : view.prompt);
  text("caution", view.caution);
  $("caution").hidden = !view.caution;
  text("condition", view.condition);
  $("set").hidden = !view.condition;
  text("expected", view.expected);
  $("want").hidden = !view.expected;
}

function showProgress() {
  const state = view.finished || (view.part === null ? "" : "verdict");
  const place = view.number ? `Step ${view.number} of ${view.count}` : state;
  text("progress", [place, view.finished ? "" : view.turn].filter(Boolean).join(", "));
  $("scale").replaceChildren(
    ...Array.from({ length: view.count }, (_, index) => {
      const place = index + 1 - view.number;
      return element("i", place < 0 ? "done" : place ? "" : "here");
    }),
  );
}

/** How the end of a job is marked; one in which nothing was expected neither way. */
const ENDINGS = { verified: "pass", finished: "none" };

/** The verdict of the last value; at the end, that of the whole job. */
function showVerdict() {
  const { value, finished, part, step } = view;
  const mark = finished ? (ENDINGS[finished] ?? "fail") : value?.mark;
  $("verdict").hidden = !mark || (!finished && part !== null && !step);
  $("last").dataset.mark = mark ?? "";
  text("word", finished || value?.verdict || "");
  text("distance", finished ? "" : (value?.distance ?? ""));
  if (mark) $("sign").setAttribute("d", SIGNS[mark]);
}

function showValue() {
  const value = view.value;
  text("shown", value ? value.shown : "–");
  text("unit", value ? value.unit : "");
  const names = value ? value.wires.map((wire) => wire.name).join(" to ") || value.step : "";
  const chips = value ? value.wires.map((wire) => look(wire, "chip")) : [];
  $("whose").replaceChildren(...chips, value ? `Last: ${names}` : "No value yet");
  fit();
  $("fit").classList.remove("new");
  void $("fit").offsetWidth; // so that the animation starts anew
  $("fit").classList.add("new");
}

/** The value as large as it goes, words on lines of their own if they are larger so. */
function fit() {
  const { clientWidth: width, clientHeight: height } = $("value");
  const value = $("fit");
  value.style.fontSize = "100px";
  const sizes = [false, true].map((words) => {
    value.classList.toggle("words", words);
    return Math.min(width / value.offsetWidth, ((words ? 0.84 : 0.96) * height) / value.offsetHeight);
  });
  const words = !view.value?.unit && sizes[1] > sizes[0];
  value.classList.toggle("words", words);
  value.style.fontSize = `${Math.max(Math.floor(100 * sizes[Number(words)]), 32)}px`;
}

function showTalk() {
  document.body.toggleAttribute("data-asking", view.options.length > 0);
  text("question", view.question);
  $("options").replaceChildren(
    ...view.options.map((option, index) => {
      const made = element("li", "", option);
      if (view.options.length > 1) made.prepend(element("span", "", ORDER[index]));
      return made;
    }),
  );
  text("said", view.said);
  const heard = view.heard && `“${view.heard}”`;
  text("heard", heard && (view.understood ? `Heard ${heard}` : `Not understood: ${heard}`));
  $("heard").classList.toggle("unclear", !view.understood);
  fit();
}

function showBanner() {
  let words = "";
  if (view.sound === "lost") words = "No microphone. The session waits for it.";
  else if (view.paused) words = "Paused. Say “resume”.";
  if (document.body.dataset.link !== "on") words = OLD;
  text("banner", words);
  $("banner").hidden = !words;
}

function showLevel() {
  $("level").hidden = view.level === null;
  $("level").firstElementChild.style.transform = `scaleX(${view.level ?? 0})`;
  $("level").setAttribute("aria-valuenow", Math.round((view.level ?? 0) * 100));
}

const PARTS = [
  [["title"], () => text("title", view.title)],
  [["wires"], showWires],
  [["wires", "prompt", "caution", "condition", "expected", "part", "step", "finished"], showNow],
  [["number", "count", "part", "finished", "turn"], showProgress],
  [["value"], showValue],
  [["value", "finished", "part", "step"], showVerdict],
  [["question", "options", "said", "heard", "understood"], showTalk],
  [["sound", "paused"], showBanner],
  [["level"], showLevel],
];

function show(changed) {
  Object.assign(view, changed);
  $("glance").hidden = false;
  for (const [fields, draw] of PARTS) if (fields.some((field) => field in changed)) draw();
}

// Connection ------------------------------------------------------------------------------------

function link(state) {
  document.body.dataset.link = state;
  if (view.title !== undefined) showBanner();
}

function connect(code = "") {
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  socket = new WebSocket(`${scheme}://${location.host}/live`);
  socket.binaryType = "arraybuffer";
  socket.onopen = () => {
    const token = sessionStorage.getItem("token");
    socket.send(JSON.stringify(code ? { code } : token ? { token } : {}));
  };
  socket.onmessage = ({ data }) => {
    if (typeof data !== "string") {
      voice.play(data);
      return;
    }
    const message = JSON.parse(data);
    if ("paired" in message) paired(message);
    if ("glance" in message) show(message.glance);
    if ("microphone" in message) microphone.answered(message.microphone);
    if ("end" in message) voice.end(message.end);
    if ("stop" in message) voice.stop(message.stop);
  };
  socket.onclose = ({ code: reason }) => {
    microphone.stop();
    if (reason === 4401) return;
    link("lost");
    setTimeout(connect, patience);
    patience = Math.min(patience * 2, 4000);
  };
}

function paired({ paired: yes, phone, token, wrong }) {
  $("pair").hidden = yes;
  if (yes) {
    $("microphone").hidden = !phone;
    if (token) sessionStorage.setItem("token", token);
    patience = 250;
    link("on");
    return;
  }
  sessionStorage.removeItem("token");
  view = {};
  $("glance").hidden = true;
  text("pair-answer", wrong ? "That code is not taken." : "");
  $("code").focus();
}

$("pair").addEventListener("submit", (event) => {
  event.preventDefault();
  if (socket) socket.onclose = null;
  socket?.close();
  connect($("code").value);
  $("code").value = "";
});

// Buttons ---------------------------------------------------------------------------------------

const send = (message) => socket?.readyState === WebSocket.OPEN && socket.send(message);
const voice = new Voice((number) => send(JSON.stringify({ said: number })));
const microphone = new Microphone(
  send,
  () => socket?.bufferedAmount ?? 0,
  voice,
  ({ on, hint }) => {
    $("microphone").setAttribute("aria-pressed", String(on));
    text("microphone", on ? "This device is the headset" : "Use as headset");
    text("hint", hint);
  },
  () => {
    $("pair").hidden = false;
    $("code").focus();
  },
);

if (!window.isSecureContext) $("microphone").setAttribute("aria-disabled", "true");
$("microphone").addEventListener("click", () => {
  if (window.isSecureContext) microphone.toggle();
  else text("hint", SECURE);
});

function light(wanted) {
  if (wanted) root.dataset.light = wanted;
  const dark = wanted ? wanted === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  text("light", dark ? "Bright screen" : "Dark screen");
  return dark;
}
light(localStorage.getItem("light"));
$("light").addEventListener("click", () => {
  const wanted = light(root.dataset.light) ? "bright" : "dark";
  localStorage.setItem("light", wanted);
  light(wanted);
});

async function stayAwake() {
  try {
    await navigator.wakeLock?.request("screen");
  } catch {
    // the browser may refuse, as with a low battery; the screen then sleeps as it is used to
  }
}
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") stayAwake();
});
stayAwake();

new ResizeObserver(fit).observe($("value"));
document.fonts.ready.then(fit);

// A scanned code comes behind the "#", which no browser sends to a server.
const scanned = new URLSearchParams(location.hash.slice(1)).get("code") ?? "";
if (scanned) history.replaceState(null, "", location.pathname);
connect(scanned);
