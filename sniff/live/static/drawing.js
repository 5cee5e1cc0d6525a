// The spectrum with the windows of the expected lines, and its course, the newest on top.

import { frequency } from "./board.js";

const FLOOR_DBFS = -140;
const STEP_DB = 0.5;

function colours() {
  const style = getComputedStyle(document.documentElement);
  return (name) => style.getPropertyValue(name).trim();
}

export class Air {
  constructor(spectrum, course) {
    this.spectrum = spectrum;
    this.course = course;
    this.frame = null;
    this.low_dbfs = -110;
    this.high_dbfs = -20;
    this.row = null;
  }

  show(frame, rows) {
    const moved = !this.frame || this.frame.first_hz !== frame.first_hz || this.frame.step_hz !== frame.step_hz;
    this.frame = frame;
    this.scale(frame.levels);
    if (moved) this.course.getContext("2d").clearRect(0, 0, this.course.width, this.course.height);
    this.drawSpectrum(rows);
    this.drawCourse();
  }

  scale(levels) {
    // Follows slowly, so that the eye is not led astray.
    const sorted = Float32Array.from(levels).sort();
    const low = FLOOR_DBFS + STEP_DB * sorted[Math.floor(sorted.length * 0.2)] - 8;
    const high = Math.max(low + 40, FLOOR_DBFS + STEP_DB * sorted[sorted.length - 1] + 8);
    this.low_dbfs += 0.1 * (low - this.low_dbfs);
    this.high_dbfs += (high > this.high_dbfs ? 0.5 : 0.02) * (high - this.high_dbfs);
  }

  x(hz) {
    return ((hz - this.frame.first_hz) / this.frame.step_hz / this.frame.levels.length) * this.spectrum.width;
  }

  y(level) {
    const dbfs = FLOOR_DBFS + STEP_DB * level;
    return this.spectrum.height * (1 - (dbfs - this.low_dbfs) / (this.high_dbfs - this.low_dbfs));
  }

  drawSpectrum(rows) {
    const pen = this.spectrum.getContext("2d");
    const { width, height } = this.spectrum;
    const colour = colours();
    pen.clearRect(0, 0, width, height);
    pen.font = "13px system-ui, sans-serif";
    this.drawGrid(pen, colour);
    for (const row of rows) {
      const left = this.x(row.expected_hz - row.tolerance_hz);
      const right = this.x(row.expected_hz + row.tolerance_hz);
      if (right < 0 || left > width) continue;
      pen.fillStyle = colour("--strip");
      pen.fillRect(left - 2, 0, Math.max(4, right - left + 4), height);
      pen.fillStyle = colour("--ink");
      const textWidth = pen.measureText(row.name).width;
      pen.fillText(row.name, Math.min(Math.max(left + 6, 2), width - textWidth - 2), 14 + 15 * (row.number % 3));
    }
    if (this.frame.hold) this.line(pen, this.frame.hold, colour("--odd"), 1);
    this.line(pen, this.frame.levels, colour("--accent"), 1.5);
  }

  drawGrid(pen, colour) {
    const { width, height } = this.spectrum;
    pen.strokeStyle = colour("--rule");
    pen.fillStyle = colour("--quiet");
    pen.lineWidth = 1;
    const step = this.high_dbfs - this.low_dbfs > 80 ? 20 : 10;
    for (let dbfs = Math.ceil(this.low_dbfs / step) * step; dbfs < this.high_dbfs; dbfs += step) {
      const y = this.y((dbfs - FLOOR_DBFS) / STEP_DB);
      pen.beginPath();
      pen.moveTo(0, y);
      pen.lineTo(width, y);
      pen.stroke();
      pen.fillText(`${String(dbfs).replace("-", "−")} dBFS`, 4, y - 3);
    }
    const whole_hz = this.frame.step_hz * this.frame.levels.length;
    const tick_hz = [1, 2, 5].map((m) => m * 10 ** Math.floor(Math.log10(whole_hz / 4))).filter((t) => whole_hz / t >= 3).pop();
    for (let hz = Math.ceil(this.frame.first_hz / tick_hz) * tick_hz; hz < this.frame.first_hz + whole_hz; hz += tick_hz) {
      const x = this.x(hz);
      pen.beginPath();
      pen.moveTo(x, 0);
      pen.lineTo(x, height);
      pen.stroke();
      pen.fillText(frequency(hz, tick_hz), x + 3, height - 5);
    }
  }

  line(pen, levels, colour, width) {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.beginPath();
    for (let point = 0; point < levels.length; point += 1) {
      const x = ((point + 0.5) / levels.length) * this.spectrum.width;
      if (point === 0) pen.moveTo(x, this.y(levels[point]));
      else pen.lineTo(x, this.y(levels[point]));
    }
    pen.stroke();
  }

  drawCourse() {
    const pen = this.course.getContext("2d");
    const { width, height } = this.course;
    pen.drawImage(this.course, 0, 0, width, height - 1, 0, 1, width, height - 1);
    this.row ??= pen.createImageData(width, 1);
    const levels = this.frame.levels;
    const scale = 1 / (this.high_dbfs - this.low_dbfs);
    for (let x = 0; x < width; x += 1) {
      const level = levels[Math.min(levels.length - 1, Math.floor((x * levels.length) / width))];
      const share = Math.max(0, Math.min(1, (FLOOR_DBFS + STEP_DB * level - this.low_dbfs) * scale));
      // From dark slate by teal to pale sand: lightness rises all along, so it reads in grey too.
      this.row.data[4 * x] = 18 + 226 * share ** 1.3;
      this.row.data[4 * x + 1] = 30 + 200 * share;
      this.row.data[4 * x + 2] = 38 + 110 * Math.sin(Math.PI * Math.min(1, share * 0.8));
      this.row.data[4 * x + 3] = 255;
    }
    pen.putImageData(this.row, 0, 0);
  }
}
