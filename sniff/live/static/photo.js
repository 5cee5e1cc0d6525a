// A photo of the page: the board in words and the two pictures, drawn on one canvas.

import { SHAPES, readings } from "./board.js";

export function compose(board, canvases, headings) {
  const line = 30;
  const top = 44 + 26 * headings.length;
  const width = 1100;
  // As wide as the sheet, however many pixels the screen has.
  const heights = canvases.map((one) => Math.round((one.height * (width - 40)) / one.width));
  const pictures = heights.reduce((sum, height) => sum + height + 10, 0);
  const canvas = document.createElement("canvas");
  canvas.width = width;
  canvas.height = top + board.rows.length * 2 * line + pictures + 20;
  const style = getComputedStyle(document.documentElement);
  const pen = canvas.getContext("2d");
  pen.fillStyle = style.getPropertyValue("--panel");
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.fillStyle = style.getPropertyValue("--ink");
  pen.font = "18px system-ui, sans-serif";
  headings.forEach((words, place) => pen.fillText(words, 20, 30 + 26 * place, width - 40));
  let y = top;
  for (const row of board.rows) {
    const words = readings(row, board.now_s);
    pen.font = "bold 20px system-ui, sans-serif";
    pen.fillText(`${SHAPES[row.state]} ${row.name}: ${row.state}`, 20, y);
    pen.font = "17px system-ui, sans-serif";
    pen.fillText([words.frequency, words.error, words.level, words.against, words.count].filter(Boolean).join("   "), 48, y + 24, width - 68);
    y += 2 * line;
  }
  canvases.forEach((picture, place) => {
    pen.drawImage(picture, 20, y, width - 40, heights[place]);
    y += heights[place] + 10;
  });
  return new Promise((resolve) => canvas.toBlob(resolve, "image/png"));
}

export async function send(blob) {
  const answer = await fetch("/photo", { method: "POST", body: blob, headers: { "content-type": "image/png" } });
  const words = await answer.text();
  return answer.ok ? `Photo kept as ${words}` : words;
}
