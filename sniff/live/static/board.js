// The rows of the board: each line's state in words and shape.

import { fit, onResize } from "./sizing.js";

export const SHAPES = {
  "present": "●", "weak": "◐", "off-frequency": "◆", "unsteady": "≈",
  "absent": "○", "hidden": "▒", "out-of-view": "–",
};

export function frequency(hz, uncertainty_hz) {
  const [unit_hz, unit] = Math.abs(hz) >= 1e6 ? [1e6, "MHz"] : Math.abs(hz) >= 1e3 ? [1e3, "kHz"] : [1, "Hz"];
  let decimals = 6;
  if (uncertainty_hz > 0) {
    const second_digit_hz = 10 ** (Math.floor(Math.log10(Number(uncertainty_hz.toPrecision(2)))) - 1);
    decimals = Math.max(0, Math.min(9, -Math.floor(Math.log10(second_digit_hz / unit_hz) + 1e-9)));
  }
  return `${(hz / unit_hz).toFixed(decimals).replace("-", "−")} ${unit}`;
}

export function span(hz) {
  const size = Math.abs(hz);
  const [unit_hz, unit] = size >= 1e6 ? [1e6, "MHz"] : size >= 1e3 ? [1e3, "kHz"] : [1, "Hz"];
  return `${Number((hz / unit_hz).toPrecision(2))} ${unit}`;
}

export function signed(value, decimals) {
  const text = value.toFixed(decimals);
  return (Number(text) < 0 ? "" : "+") + text.replace("-", "−");
}

export function ago(seconds) {
  if (seconds < 60) return `${Math.max(0, Math.round(seconds))} s ago`;
  if (seconds < 3600) return `${Math.floor(seconds / 60)} min ago`;
  return `${(seconds / 3600).toFixed(1)} h ago`;
}

export function readings(row, now_s) {
  const seen = row.frequency_hz !== null;
  const error = seen ? `${signed(row.error_ppm, 1)} ppm against the plan` : "";
  const level = row.level_dbfs === null ? "" : `${row.level_dbfs.toFixed(1).replace("-", "−")} dBFS`;
  const against = row.against_db === null ? "" : `${signed(row.against_db, 1)} dB against ${row.against === "sibling" ? "the sibling" : "the best seen"}`;
  // Of a line that nobody looked at, "0 drop-outs" would be a claim.
  const unwatched = row.state === "out-of-view" && row.dropouts === 0;
  const count = unwatched ? "" : row.dropouts === 1 ? "1 drop-out" : `${row.dropouts} drop-outs`;
  const last = row.last_s === null ? "" : `the last ${ago(now_s - row.last_s)}`;
  return {
    frequency: seen ? `${frequency(row.frequency_hz, row.expanded_hz)} ± ${span(row.expanded_hz)}` : "not seen",
    error, level, against, count, last,
    expected: `expected ${frequency(row.expected_hz, 0)}`,
  };
}

function part(className) {
  const element = document.createElement("span");
  element.className = className;
  return element;
}

function twoLines(className) {
  const cell = part(className);
  const first = part("figure");
  const second = part("sub");
  cell.append(first, second);
  return { cell, first, second };
}

export class Board {
  constructor(list, onChoose) {
    this.list = list;
    this.onChoose = onChoose;
    this.rows = [];
    this.now_s = 0;
    this.chosen = 0;
    this.cells = [];
  }

  show(rows, now_s) {
    this.rows = rows;
    this.now_s = now_s;
    while (this.cells.length < rows.length) this.add(this.cells.length);
    rows.forEach((row, number) => this.fill(this.cells[number], row));
  }

  add(number) {
    const item = document.createElement("li");
    const button = document.createElement("button");
    button.type = "button";
    const name = twoLines("name");
    const state = part("state");
    const shape = part("shape");
    shape.setAttribute("aria-hidden", "true");
    const word = part("word");
    state.append(shape, word);
    const reading = twoLines("frequency");
    const level = twoLines("level");
    const stripCell = part("strip-cell");
    const strip = document.createElement("canvas");
    strip.className = "strip";
    stripCell.append(strip);
    const dropouts = twoLines("dropouts");
    button.append(name.cell, state, reading.cell, level.cell, stripCell, dropouts.cell);
    button.addEventListener("click", () => this.onChoose(number, true));
    item.append(button);
    this.list.append(item);
    onResize([strip], () => {
      if (this.rows[number] && fit(strip)) drawStrip(strip, this.rows[number].strip);
    });
    this.cells.push({ button, name, shape, word, reading, level, strip, dropouts });
  }

  fill(cells, row) {
    const words = readings(row, this.now_s);
    cells.button.dataset.state = row.state;
    cells.button.title = row.why;
    cells.button.setAttribute("aria-current", String(row.number === this.chosen));
    set(cells.name.first, row.wanted ? row.name : `(${row.name})`);
    set(cells.name.second, words.expected);
    set(cells.shape, SHAPES[row.state]);
    set(cells.word, row.state);
    set(cells.reading.first, words.frequency);
    set(cells.reading.second, words.error || row.why);
    set(cells.level.first, words.level);
    set(cells.level.second, words.against);
    set(cells.dropouts.first, words.count);
    set(cells.dropouts.second, words.last);
    drawStrip(cells.strip, row.strip);
  }

  choose(number) {
    this.chosen = Math.max(0, Math.min(this.cells.length - 1, number));
    this.cells.forEach((cells, place) => cells.button.setAttribute("aria-current", String(place === this.chosen)));
  }
}

function set(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function drawStrip(canvas, strip) {
  const key = `${canvas.width} ${strip.join()}`;
  if (canvas.dataset.shown === key) return;
  canvas.dataset.shown = key;
  const style = getComputedStyle(document.documentElement);
  const pen = canvas.getContext("2d");
  pen.clearRect(0, 0, canvas.width, canvas.height);
  const width = canvas.width / strip.length;
  const gap = Math.min(1, 0.15 * width);
  strip.forEach((percent, place) => {
    if (percent < 0) return;
    // There: a bar as high as the part of the second; gone: a mark at the foot.
    pen.fillStyle = style.getPropertyValue(percent >= 100 ? "--good" : "--bad");
    const height = canvas.height * Math.max(0.15, percent / 100);
    pen.fillRect(place * width, canvas.height - height, width - gap, height);
  });
}
