"use strict";
/* Verdicts for the ears: good is one soft high note that rises, look is two equal notes in
   the middle, bad is low, rough and long, twice. They differ in pitch, number and length,
   so that any one of these tells them apart. */
const Sound = (() => {
  let context = null;
  let on = localStorage.getItem("sound") !== "off";
  const NOTES = {
    good: [["sine", 880, 1320, 0, 0.11, 0.25]],
    look: [["triangle", 587, 587, 0, 0.14, 0.4], ["triangle", 587, 587, 0.22, 0.14, 0.4]],
    bad: [["sawtooth", 175, 160, 0, 0.34, 0.5], ["sawtooth", 150, 120, 0.44, 0.46, 0.5]],
    step: [["sine", 660, 660, 0, 0.05, 0.15]],
  };
  const ready = () => {
    if (context === null && on && "AudioContext" in window) context = new AudioContext();
    if (context !== null && context.state === "suspended") context.resume();
  };
  const note = ([shape, from, to, at, lasts, loud]) => {
    const t = context.currentTime + at;
    const source = context.createOscillator(), gain = context.createGain();
    source.type = shape;
    source.frequency.setValueAtTime(from, t);
    source.frequency.linearRampToValueAtTime(to, t + lasts);
    gain.gain.setValueAtTime(0, t);
    gain.gain.linearRampToValueAtTime(loud, t + 0.012);
    gain.gain.setValueAtTime(loud, t + lasts - 0.03);
    gain.gain.linearRampToValueAtTime(0, t + lasts);
    source.connect(gain).connect(context.destination);
    source.start(t);
    source.stop(t + lasts);
  };
  return {
    ready,
    NOTES,
    get on() { return on; },
    get heard() { return on && context !== null && context.state === "running"; },
    toggle() {
      on = !on;
      localStorage.setItem("sound", on ? "on" : "off");
      ready();
      if (on) this.play("good");
    },
    /* A guide's own tones, one behind the other: [hertz, milliseconds]. */
    tones(list) {
      document.documentElement.dataset.sound = list.map((tone) => tone[0]).join(" ");
      if (!on || context === null) return;
      let at = 0;
      for (const [hertz, millis] of list) {
        note(["sine", hertz, hertz, at, millis / 1000, 0.35]);
        at += millis / 1000 + 0.04;
      }
    },
    play(tone) {
      document.documentElement.dataset.sound = tone;
      if (on && context !== null && NOTES[tone]) NOTES[tone].forEach(note);
    },
  };
})();
