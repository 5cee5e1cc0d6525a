// A canvas of as many pixels as the screen has beneath it, so that nothing in it is stretched.

export function ratio() {
  return window.devicePixelRatio || 1;
}

export function fit(canvas) {
  const width = Math.round(canvas.clientWidth * ratio());
  const height = Math.round(canvas.clientHeight * ratio());
  if (!width || !height || (canvas.width === width && canvas.height === height)) return false;
  canvas.width = width;
  canvas.height = height;
  return true;
}

export function onResize(canvases, then) {
  // A turned phone, a dragged edge; and a change of zoom, which may leave the box as it is.
  const observer = new ResizeObserver(then);
  for (const canvas of canvases) observer.observe(canvas);
  window.addEventListener("resize", then);
}
