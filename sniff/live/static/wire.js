// The connection: one WebSocket, made anew by itself when it is lost.

const HEADER_BYTES = 32;

export function readFrame(buffer) {
  const view = new DataView(buffer);
  if (view.getUint8(0) !== 1) return null;
  const points = view.getUint16(2, true);
  const held = (view.getUint8(1) & 1) === 1;
  return {
    number: view.getUint32(4, true),
    time_s: view.getFloat64(8, true),
    first_hz: view.getFloat64(16, true),
    step_hz: view.getFloat64(24, true),
    levels: new Uint8Array(buffer, HEADER_BYTES, points),
    hold: held ? new Uint8Array(buffer, HEADER_BYTES + points, points) : null,
  };
}

export class Wire {
  constructor({ onFrame, onMessage, onLink }) {
    this.onFrame = onFrame;
    this.onMessage = onMessage;
    this.onLink = onLink;
    this.wait_ms = 250;
    this.socket = null;
    this.open();
  }

  open() {
    const socket = new WebSocket(`ws://${location.host}/live`);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    socket.addEventListener("open", () => {
      this.wait_ms = 250;
      this.onLink("open");
    });
    socket.addEventListener("message", (event) => {
      if (typeof event.data === "string") this.onMessage(JSON.parse(event.data));
      else {
        const frame = readFrame(event.data);
        if (frame) this.onFrame(frame);
      }
    });
    socket.addEventListener("close", () => {
      this.onLink("lost");
      setTimeout(() => this.open(), this.wait_ms);
      this.wait_ms = Math.min(4000, this.wait_ms * 2);
    });
  }

  ask(command) {
    if (this.socket.readyState !== WebSocket.OPEN) return false;
    this.socket.send(JSON.stringify(command));
    return true;
  }
}
