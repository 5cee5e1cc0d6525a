// The ear: a tone whose pitch follows the level, and a sound of its own at a drop-out.

const LOWEST_HZ = 180;
const HIGHEST_HZ = 1400;
const LOWEST_DBFS = -100;
const HIGHEST_DBFS = -10;

export function pitch(dbfs) {
  const share = Math.max(0, Math.min(1, (dbfs - LOWEST_DBFS) / (HIGHEST_DBFS - LOWEST_DBFS)));
  return LOWEST_HZ * (HIGHEST_HZ / LOWEST_HZ) ** share;
}

export class Ear {
  constructor() {
    this.context = null;
    this.on = false;
  }

  async toggle() {
    if (!this.context) {
      this.context = new AudioContext();
      this.loudness = new GainNode(this.context, { gain: 0 });
      this.tone = new OscillatorNode(this.context, { type: "triangle", frequency: LOWEST_HZ });
      this.tone.connect(this.loudness).connect(this.context.destination);
      this.tone.start();
    }
    this.on = !this.on;
    if (this.on) await this.context.resume();
    else this.hush();
    return this.on;
  }

  follow(dbfs) {
    if (!this.on) return;
    const now_s = this.context.currentTime;
    if (dbfs === null) this.hush();
    else {
      this.tone.frequency.setTargetAtTime(pitch(dbfs), now_s, 0.02);
      this.loudness.gain.setTargetAtTime(0.06, now_s, 0.02);
    }
  }

  hush() {
    this.loudness.gain.setTargetAtTime(0, this.context.currentTime, 0.01);
  }

  dropout() {
    if (!this.on) return;
    // Two falling knocks, unlike the tone, so that the two are never confused.
    [0, 0.09].forEach((delay_s) => {
      const at_s = this.context.currentTime + delay_s;
      const knock = new OscillatorNode(this.context, { type: "square", frequency: 320 });
      const loudness = new GainNode(this.context, { gain: 0.12 });
      knock.frequency.setValueAtTime(320, at_s);
      knock.frequency.exponentialRampToValueAtTime(90, at_s + 0.06);
      loudness.gain.setValueAtTime(0.12, at_s);
      loudness.gain.exponentialRampToValueAtTime(0.001, at_s + 0.07);
      knock.connect(loudness).connect(this.context.destination);
      knock.start(at_s);
      knock.stop(at_s + 0.08);
    });
  }
}
