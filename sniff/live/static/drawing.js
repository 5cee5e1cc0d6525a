// The spectrum with the windows of the expected lines, and its course, the newest on top.

import { FONT_PX, MARGIN, frequencyTicks, levelTicks, pen } from "./axes.js";
import { fit, onResize, ratio } from "./sizing.js";

const FLOOR_DBFS = -140;
const STEP_DB = 0.5;
// A sheet of paper has a width of its own, and a printer finer dots than a screen.
const SHEET = { width: 720, spectrum: 220, course: 160, ratio: 3 };
const PAPER = { "--ink": "#000", "--quiet": "#000", "--rule": "#bbb", "--strip": "#ddd", "--accent": "#000", "--odd": "#777" };

// From dark slate by teal to pale sand: lightness rises all along, so it reads in grey too.
const SHADES = new Uint32Array(Uint8ClampedArray.from({ length: 4 * 256 }, (_, place) => {
  const share = Math.floor(place / 4) / 255;
  return [18 + 226 * share ** 1.3, 30 + 200 * share, 38 + 110 * Math.sin(Math.PI * Math.min(1, share * 0.8)), 255][place % 4];
}).buffer);

export class Air {
  constructor(spectrum, course) {
    this.spectrum = spectrum;
    this.course = course;
    this.frame = null;
    this.rows = [];
    this.low_dbfs = -110;
    this.high_dbfs = -20;
    this.times_s = [];
    this.printing = false;
    this.laid = this.layCourse();
    this.fit();
    onResize([spectrum, course], () => this.fit());
  }

  colour() {
    if (this.printing) return (name) => PAPER[name];
    const style = getComputedStyle(document.documentElement);
    return (name) => style.getPropertyValue(name).trim();
  }

  ratio() {
    return this.printing ? SHEET.ratio : ratio();
  }

  fit() {
    if (this.printing) return;
    if (fit(this.spectrum) && this.frame) this.drawSpectrum();
    this.reshapeCourse(() => fit(this.course));
  }

  print(printing) {
    this.reshapeCourse(() => {
      this.printing = printing;
      if (!printing) {
        fit(this.spectrum);
        return fit(this.course);
      }
      for (const name of ["spectrum", "course"]) {
        this[name].width = SHEET.width * SHEET.ratio;
        this[name].height = SHEET[name] * SHEET.ratio;
      }
      return true;
    });
    if (this.frame) this.drawSpectrum();
  }

  show(frame, rows) {
    const moved = !this.frame || this.frame.first_hz !== frame.first_hz || this.frame.step_hz !== frame.step_hz;
    this.frame = frame;
    this.rows = rows;
    this.scale(frame.levels, moved);
    if (moved) this.clearCourse();
    this.drawSpectrum();
    this.drawCourse();
  }

  scale(levels, at_once) {
    const sorted = Float32Array.from(levels).sort();
    const low = FLOOR_DBFS + STEP_DB * sorted[Math.floor(sorted.length * 0.2)] - 8;
    const high = Math.max(low + 40, FLOOR_DBFS + STEP_DB * sorted[sorted.length - 1] + 8);
    if (at_once) [this.low_dbfs, this.high_dbfs] = [low, high];
    // Else it follows slowly, so that the eye is not led astray.
    this.low_dbfs += 0.1 * (low - this.low_dbfs);
    this.high_dbfs += (high > this.high_dbfs ? 0.5 : 0.02) * (high - this.high_dbfs);
  }

  drawSpectrum() {
    const { context, width, height } = pen(this.spectrum, this.ratio());
    const colour = this.colour();
    const plot = { left: MARGIN.left, right: width, top: 0, bottom: height - MARGIN.bottom };
    context.clearRect(0, 0, width, height);
    this.drawGrid(context, colour, plot);
    context.save();
    context.beginPath();
    context.rect(plot.left, plot.top, plot.right - plot.left, plot.bottom - plot.top);
    context.clip();
    this.drawWindows(context, colour, plot);
    if (this.frame.hold) this.trace(context, this.frame.hold, colour("--odd"), 1, plot);
    this.trace(context, this.frame.levels, colour("--accent"), 1.5, plot);
    context.restore();
  }

  drawWindows(context, colour, plot) {
    const { first_hz, step_hz, levels } = this.frame;
    const x = (hz) => plot.left + (((hz - first_hz) / step_hz + 0.5) / levels.length) * (plot.right - plot.left);
    for (const row of this.rows) {
      const left = x(row.expected_hz - row.tolerance_hz);
      const right = x(row.expected_hz + row.tolerance_hz);
      if (right < plot.left || left > plot.right) continue;
      const box = [left - 2, plot.top - 1, Math.max(4, right - left + 4), plot.bottom - plot.top + 2];
      context.fillStyle = colour("--strip");
      context.fillRect(...box);
      context.strokeRect(...box);
      context.fillStyle = colour("--ink");
      const end = plot.right - context.measureText(row.name).width - 2;
      context.fillText(row.name, Math.min(Math.max(right + 6, plot.left + 2), end), 14 + 15 * (row.number % 3));
    }
  }

  drawGrid(context, colour, plot) {
    const { first_hz, step_hz, levels } = this.frame;
    context.strokeStyle = colour("--rule");
    context.fillStyle = colour("--quiet");
    context.lineWidth = 1;
    context.beginPath();
    context.textAlign = "right";
    context.fillText("dBFS", plot.left - 5, plot.top + FONT_PX);
    for (const { at, text } of levelTicks({ low: this.low_dbfs, high: this.high_dbfs, ...plot })) {
      context.moveTo(plot.left, at);
      context.lineTo(plot.right, at);
      context.fillText(text, plot.left - 5, at + 0.35 * FONT_PX);
    }
    const whole_hz = step_hz * levels.length;
    const { unit, ticks } = frequencyTicks(context, { first_hz: first_hz - step_hz / 2, whole_hz, ...plot });
    context.fillText(unit, plot.left - 5, plot.bottom + 15);
    context.textAlign = "left";
    for (const { at, text, from } of ticks) {
      context.moveTo(at, plot.top);
      context.lineTo(at, plot.bottom + 3);
      context.fillText(text, from, plot.bottom + 15);
    }
    context.stroke();
  }

  trace(context, levels, colour, width, plot) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    const scale = (plot.bottom - plot.top) / (this.high_dbfs - this.low_dbfs);
    for (let point = 0; point < levels.length; point += 1) {
      const x = plot.left + ((point + 0.5) / levels.length) * (plot.right - plot.left);
      const y = plot.bottom - (FLOOR_DBFS + STEP_DB * levels[point] - this.low_dbfs) * scale;
      if (point === 0) context.moveTo(x, y);
      else context.lineTo(x, y);
    }
    context.stroke();
  }

  layCourse() {
    // One pixel of the style sheet's a frame, whatever the screen: the seconds shown stay the same.
    const left = Math.round(MARGIN.left * this.ratio());
    return { left, thick: Math.max(1, Math.round(this.ratio())), width: Math.max(1, this.course.width - left) };
  }

  clearCourse() {
    this.times_s = [];
    const context = this.course.getContext("2d");
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, this.course.width, this.course.height);
  }

  reshapeCourse(change) {
    // What was drawn is kept: a phone is turned just to see more of it.
    const old = document.createElement("canvas");
    old.width = this.course.width;
    old.height = this.course.height;
    old.getContext("2d").drawImage(this.course, 0, 0);
    const before = this.laid;
    if (!change()) return;
    this.line = null;
    this.laid = this.layCourse();
    if (!this.frame) return;
    const { left, thick, width } = this.laid;
    const context = this.course.getContext("2d");
    const rows = Math.floor(Math.min(old.height / before.thick, this.course.height / thick));
    context.drawImage(old, before.left, 0, before.width, rows * before.thick, left, 0, width, rows * thick);
    this.times_s.length = Math.min(rows, this.times_s.length);
    this.drawAges();
  }

  drawCourse() {
    const { left, thick, width } = this.laid;
    const context = this.course.getContext("2d");
    const kept = this.course.height - thick;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.drawImage(this.course, left, 0, width, kept, left, thick, width, kept);
    this.line ??= context.createImageData(width, thick);
    const levels = this.frame.levels;
    const pixels = new Uint32Array(this.line.data.buffer);
    const scale = 255 / (this.high_dbfs - this.low_dbfs);
    for (let x = 0; x < width; x += thick) {
      // The largest of what falls on a cell: a narrow line must not be missed on a narrow screen,
      // and a phone's pixels are too fine for the eye.
      const end_x = Math.min(width, x + thick);
      const end = Math.floor((end_x * levels.length) / width);
      let point = Math.floor((x * levels.length) / width);
      let level = levels[point];
      while ((point += 1) < end) level = Math.max(level, levels[point]);
      const shade = (FLOOR_DBFS + STEP_DB * level - this.low_dbfs) * scale;
      pixels.fill(SHADES[Math.max(0, Math.min(255, Math.round(shade)))], x, end_x);
    }
    for (let row = 1; row < thick; row += 1) pixels.copyWithin(width * row, 0, width);
    context.putImageData(this.line, left, 0);
    this.times_s.unshift(this.frame.time_s);
    this.times_s.length = Math.min(this.times_s.length, Math.ceil(this.course.height / thick));
    this.drawAges();
  }

  drawAges() {
    const { context, height } = pen(this.course, this.ratio());
    context.clearRect(0, 0, MARGIN.left - 1, height);
    // Paper shows the course as its negative.
    context.fillStyle = this.printing ? "#fff" : this.colour()("--quiet");
    context.textAlign = "right";
    const { thick } = this.laid;
    const pixels = (thick * height) / this.course.height;
    let below = 0.35 * FONT_PX;
    let age_s = 1;
    this.times_s.forEach((time_s, row) => {
      if (this.times_s[0] - time_s < age_s) return;
      const y = row * pixels;
      age_s = Math.floor(this.times_s[0] - time_s) + 1;
      if (y - 0.5 * FONT_PX < below || y + 0.5 * FONT_PX > height) return;
      context.fillText(`−${age_s - 1} s`, MARGIN.left - 5, y + 0.35 * FONT_PX);
      below = y + 1.2 * FONT_PX;
    });
    context.textAlign = "left";
  }
}
