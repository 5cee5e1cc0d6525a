// Where the labels of an axis stand: in a margin of their own, none on another, none cut off.

export const FONT_PX = 13;
export const MARGIN = { left: 46, bottom: 20 };

export function pen(canvas, ratio) {
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.font = `${FONT_PX}px system-ui, sans-serif`;
  return { context, width: canvas.width / ratio, height: canvas.height / ratio };
}

function* round(least) {
  for (let decade = 10 ** Math.floor(Math.log10(least)); ; decade *= 10) {
    for (const digit of [1, 2, 5]) if (digit * decade >= least) yield digit * decade;
  }
}

export function frequencyTicks(context, { first_hz, whole_hz, left, right }) {
  const [unit_hz, unit] = Math.abs(first_hz + whole_hz) >= 1e6 ? [1e6, "MHz"] : [1e3, "kHz"];
  const x = (hz) => left + ((hz - first_hz) / whole_hz) * (right - left);
  for (const step_hz of round(whole_hz / 20)) {
    const decimals = Math.max(0, Math.ceil(-Math.log10(step_hz / unit_hz) - 1e-9));
    const words = (hz) => (hz / unit_hz).toFixed(decimals).replace("-", "−");
    const widest = Math.max(...[first_hz, first_hz + whole_hz].map((hz) => context.measureText(words(hz)).width));
    // Half a label more than it takes: the outermost may be moved in by that much.
    if ((step_hz / whole_hz) * (right - left) < 1.5 * widest + 10 && step_hz < whole_hz) continue;
    const ticks = [];
    for (let count = Math.ceil(first_hz / step_hz); count * step_hz < first_hz + whole_hz; count += 1) {
      const text = words(count * step_hz);
      const width = context.measureText(text).width;
      const at = x(count * step_hz);
      ticks.push({ at, text, from: Math.min(Math.max(at - width / 2, left + 2), right - width - 2) });
    }
    return { unit, ticks };
  }
  return { unit, ticks: [] };
}

export function levelTicks({ low, high, top, bottom }) {
  const ticks = [];
  const least = ((high - low) * 2.2 * FONT_PX) / (bottom - top);
  const step = [10, 20, 50, 100].find((one) => one >= least) ?? 100;
  for (let level = Math.ceil(low / step) * step; level < high; level += step) {
    const at = bottom - ((level - low) / (high - low)) * (bottom - top);
    // The corners of the margin are the units'.
    const free = at - top > 1.9 * FONT_PX && bottom - at > 0.6 * FONT_PX;
    ticks.push({ at, text: free ? String(level).replace("-", "−") : "" });
  }
  return ticks;
}
