// Plays shots by the browser's clock: which shot, how far, and what is to be told when it begins and ends.

import { eased, playingTime } from "./centreline.js";

const TOGETHER = 150; // motions asked for within this time [ms] start by one clock
let lastStart = -Infinity;

function startOfMotion(now) {
  if (now - lastStart > TOGETHER) {
    lastStart = now;
  }
  return lastStart;
}

export class Player {
  /** show(shot, fraction); began(shot); ended(shot): called as a motion goes on. */
  constructor(show, began, ended) {
    Object.assign(this, { show, began, ended, playing: false, frames: 0, rate: 0 });
  }

  /**
   * Play shots[from … to] at a speed; seconds [s] overrules how long each takes; still: show the ends, without motion. One
   * shot in which nothing moves ends at once.
   */
  start(shots, from, to, speed, seconds, still) {
    this.playing = false;
    if (!shots[from]) {
      return;
    }
    const now = performance.now();
    Object.assign(this, { shots, shot: from, to, speed, seconds, still, playing: true, frames: 0, firstFrame: null });
    this.began(from);
    if (from === to && (still || shots[from].poses.length < 2)) {
      this.finish();
      return;
    }
    this.origin = startOfMotion(now);
    this.show(from, still ? 1 : 0);
  }

  stop() {
    this.playing = false;
  }

  /** Go on to the time of a frame [ms]. */
  tick(now) {
    if (!this.playing) {
      return;
    }
    this.count(now);
    let lasts = this.lasts();
    while (now - this.origin >= lasts) {
      if (this.shot >= this.to) {
        this.finish();
        return;
      }
      this.origin += lasts; // the next shot begins when this one was due to end, so views in step stay so
      this.shot += 1;
      this.began(this.shot);
      lasts = this.lasts();
    }
    this.show(this.shot, this.still ? 1 : eased((now - this.origin) / lasts));
  }

  lasts() {
    return 1000 * (this.seconds ?? playingTime(this.shots[this.shot], this.speed));
  }

  count(now) {
    this.firstFrame ??= now;
    if (now > this.firstFrame) {
      this.frames += 1;
      this.rate = (1000 * this.frames) / (now - this.firstFrame);
    }
  }

  finish() {
    this.playing = false;
    this.show(this.shot, 1);
    this.ended(this.shot);
  }
}
