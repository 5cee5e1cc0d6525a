// The page: what comes over the wire goes to board, spectrum, ear and diary; what is pressed goes back.

import { Board, SHAPES, readings } from "./board.js";
import { Air } from "./drawing.js";
import { Ear } from "./ear.js";
import { compose, send } from "./photo.js";
import { Wire } from "./wire.js";

const at = (id) => document.getElementById(id);
const ear = new Ear();
const board = new Board(at("rows"), choose);
const air = new Air(at("spectrum"), at("course"));
let frozen = false;
let large = false;
let pedal = "t";
let state = null;
let saidTimer = 0;

const wire = new Wire({
  onFrame(frame) {
    document.body.dataset.frames = String(Number(document.body.dataset.frames || 0) + 1);
    if (!frozen) air.show(frame, board.rows);
  },
  onMessage(message) {
    const handle = handlers[message.kind];
    if (handle) handle(message);
  },
  onLink(link) {
    at("link").dataset.link = link;
    at("link").textContent = link === "open" ? "Connected" : "Connection lost: what you see is old. Trying again…";
  },
});

const handlers = {
  hello(message) {
    at("source").textContent = `${message.source} · clock ${message.clock}`;
    at("cautions").textContent = message.cautions.join(" · ");
    at("photo").disabled = !message.keeps;
    at("keep").disabled = !message.keeps;
    const tool = at("tool");
    tool.replaceChildren(...Object.entries(message.tools).map(([value, words]) => new Option(words, value)));
    for (const option of at("keep-seconds").options) option.disabled = Number(option.value) > message.memory_s + 0.5;
  },
  state(message) {
    state = message;
    const form = { center: message.center_hz / 1e6, span: message.span_hz === null ? "" : message.span_hz / 1e3, rbw: Number((message.rbw_hz / 1e3).toPrecision(3)), gain: message.gain_db === null ? "" : message.gain_db };
    for (const [id, value] of Object.entries(form)) if (document.activeElement !== at(id)) at(id).value = value === "" ? "" : Number(Number(value).toFixed(6));
    press("hold", message.hold);
    at("air-words").textContent = message.running
      ? `Centre ${(message.center_hz / 1e6).toFixed(6)}\u00a0MHz as indicated, RBW ${(message.rbw_hz / 1e3).toPrecision(3)}\u00a0kHz, gain ${message.gain_db === null ? "automatic" : `${message.gain_db}\u00a0dB`}`
      : `Stopped: ${message.why}`;
    if (!message.running) say(`Stopped: ${message.why}`, true);
  },
  board(message) {
    board.show(message.rows, message.time_s);
    at("no-lines").hidden = message.rows.length > 0;
    const row = board.rows[board.chosen];
    if (!row) return;
    at("tap-line").textContent = row.name;
    ear.follow(row.level_dbfs);
    if (large) showLarge(row);
  },
  event(message) {
    if (!message.there && message.row === board.chosen) ear.dropout();
    document.body.dataset.event = `${message.row} ${message.there ? "there" : "gone"} ${message.time_s}`;
  },
  taps(message) {
    if (message.row !== board.chosen) return;
    at("tap-says").textContent = message.says;
    at("tap-spots").replaceChildren(...message.spots.map((spot) => {
      const item = document.createElement("li");
      const chance = spot.p_adjusted === null ? "" : `, p = ${spot.p_adjusted < 0.0001 ? "< 0.0001" : Number(spot.p_adjusted.toPrecision(2))}`;
      const control = spot.control === null ? "" : `, control ${spot.control_answered} of ${spot.control_taps}`;
      item.textContent = `${spot.spot} (${spot.by}): ${spot.verdict}. ${spot.answered} of ${spot.taps} answered${control}${chance}. ${spot.why}`;
      return item;
    }));
  },
  diary(message) {
    at("diary").replaceChildren(...message.entries.map((entry) => {
      const item = document.createElement("li");
      item.textContent = `${entry.time_s.toFixed(1)} s · ${entry.kind}: ${entry.words}`;
      return item;
    }));
  },
  invitation(message) {
    at("phone").hidden = !message.shared;
    if (!message.shared) return;
    at("qr").src = `/invite.svg?${Date.now()}`;
    at("phone-link").textContent = message.link;
  },
  said(message) {
    say(message.words);
  },
};

function now() {
  return `${new Date().toISOString().slice(0, 19)}Z`;
}

function say(words, stays = false) {
  at("said").textContent = words;
  at("said").hidden = false;
  clearTimeout(saidTimer);
  if (!stays) saidTimer = setTimeout(() => { at("said").hidden = true; }, 8000);
}

function press(id, on) {
  at(id).setAttribute("aria-pressed", String(on));
}

function choose(number, open) {
  board.choose(number);
  const row = board.rows[board.chosen];
  if (!row) return;
  at("tap-line").textContent = row.name;
  if (open) {
    cover(true);
    showLarge(row);
    at("large-close").focus();
  }
}

function cover(on) {
  large = on;
  at("large").hidden = !on;
  // What lies beneath is out of the keyboard's reach too.
  for (const beneath of document.querySelectorAll(".skip, header, footer, main > section:not(#large)")) beneath.inert = on;
}

function closeLarge() {
  cover(false);
  board.cells[board.chosen]?.button.focus();
}

function showLarge(row) {
  const words = readings(row, board.now_s);
  at("large").dataset.state = row.state;
  at("large-name").textContent = `${row.name}, ${words.expected}`;
  at("large-state").textContent = `${SHAPES[row.state]} ${row.state}`;
  at("large-frequency").textContent = words.frequency;
  at("large-detail").textContent = [words.error, words.level, words.against, words.count, words.last].filter(Boolean).join(" · ");
  at("large-why").textContent = row.why;
}

function number(id) {
  const text = at(id).value.trim().replace(",", ".").replace("−", "-");
  if (text === "") return null;
  const value = Number(text);
  if (Number.isFinite(value)) return value;
  say(`${at(id).value} is not a number`);
  return undefined;
}

function showAsked(hold) {
  const span_khz = number("span");
  const rbw_khz = number("rbw");
  if (span_khz === undefined || rbw_khz === undefined) return;
  wire.ask({ do: "show", span_hz: span_khz === null ? null : span_khz * 1e3, rbw_hz: rbw_khz === null ? null : rbw_khz * 1e3, hold });
}

function tap() {
  const spot = at("spot").value.trim();
  if (!spot) {
    say("Name the spot first: what is tapped?");
    at("spot").focus();
    return;
  }
  if (![...at("spots").children].some((option) => option.value === spot)) at("spots").append(new Option(spot));
  if (wire.ask({ do: "tap", row: board.chosen, spot, by: at("tool").value })) at("tap-says").textContent = `Tapped ${spot}…`;
}

const actions = {
  h() { showAsked(!(state && state.hold)); },
  f() { frozen = !frozen; press("freeze", frozen); },
  async e() {
    const on = await ear.toggle();
    press("ear", on);
    document.body.dataset.ear = on ? ear.context.state : "muted";
  },
  m() { wire.ask({ do: "mark", words: "mark" }); },
  r() { wire.ask({ do: "keep", seconds: Number(at("keep-seconds").value) }); },
  async p() {
    const headings = [at("source").textContent, `${now()} · ${at("air-words").textContent}`];
    say(await send(await compose(board, [at("spectrum"), at("course")], headings)));
  },
};
const buttons = { hold: "h", freeze: "f", ear: "e", mark: "m", keep: "r", photo: "p" };
for (const [id, key] of Object.entries(buttons)) at(id).addEventListener("click", () => actions[key]());
at("tap").addEventListener("click", tap);
at("large-close").addEventListener("click", closeLarge);
at("invite").addEventListener("click", () => wire.ask({ do: "invite" }));
at("tune-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const center_mhz = number("center");
  const gain_db = number("gain");
  if (center_mhz === undefined || gain_db === undefined) return;
  if (state && gain_db !== state.gain_db) wire.ask({ do: "gain", gain_db });
  if (center_mhz !== null && state && Math.abs(center_mhz * 1e6 - state.center_hz) > 1) wire.ask({ do: "tune", center_hz: center_mhz * 1e6 });
  showAsked(Boolean(state && state.hold));
});
at("note-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const words = at("note").value.trim();
  if (words && wire.ask({ do: "note", words })) at("note").value = "";
});
at("spot").addEventListener("keydown", (event) => {
  // Named: from here on the pedal's key taps, and is not typed.
  if (event.key !== "Enter") return;
  event.preventDefault();
  at("tap").focus();
});
window.addEventListener("beforeprint", () => {
  at("printed").textContent = `Printed ${now()}`;
  air.print(true);
});
window.addEventListener("afterprint", () => air.print(false));
at("pedal").addEventListener("keydown", (event) => {
  if (event.key === "Tab" || event.key === "Shift") return;
  event.preventDefault();
  event.stopPropagation();
  pedal = event.key;
  at("pedal").value = pedal === " " ? "space" : pedal;
  at("tap-key").textContent = at("pedal").value;
});
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.target.matches("input, textarea")) return;
  // A list keeps its keys, but for the pedal's: whoever has just chosen the tool taps next.
  if (event.target.matches("select") && (event.key !== pedal || pedal.length > 1 || pedal === " ")) return;
  if (event.key === pedal && !event.repeat) {
    event.preventDefault();
    tap();
  } else if (event.key === "Escape" && large) closeLarge();
  else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && event.target !== at("diary")) {
    event.preventDefault();
    choose(board.chosen + (event.key === "ArrowDown" ? 1 : -1), false);
    board.cells[board.chosen]?.button.focus();
  } else if (actions[event.key] && !event.repeat) actions[event.key]();
});
