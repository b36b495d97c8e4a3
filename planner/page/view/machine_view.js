// The element of the page: a canvas with the stage on it, moved by the player, drawn only when something has changed.

import { OrbitControls, THREE } from "nicegui-scene";
import { fit, sideOf } from "bendorder-view/camera.js";
import { pointsOf } from "bendorder-view/centreline.js";
import { DARK, LIGHT } from "bendorder-view/colours.js";
import { Player } from "bendorder-view/player.js";
import { Stage } from "bendorder-view/stage.js";

const SPACING = 5; // of the points that `centreline_now` gives [mm]
const SLOW = 1000 / 24; // a longer time between frames [ms] is worth a coarser picture while it lasts
const COARSEST = 0.4; // of the usual resolution
const PACE = 4; // frames between two looks at how long they take
const SHARPEST = 2; // device pixels for a CSS pixel: more is not seen and costs a tablet its battery

const NO_WEBGL = "This browser cannot draw in 3D (no WebGL). What the steps and pictures say holds all the same.";
const LOST = "The drawing was interrupted. If it does not come back by itself, load the page again.";

/** A copy that Vue does not watch. */
const plain = (value) => JSON.parse(JSON.stringify(value ?? []));

export default {
  template: `
    <div style="position: relative; width: 100%; height: 100%">
      <canvas role="img" tabindex="0" :aria-label="label"
        style="position: absolute; inset: 0; width: 100%; height: 100%; display: block; touch-action: none"></canvas>
      <p role="status" style="position: absolute; inset: 0; margin: 1em; font-size: 1.25rem; pointer-events: none" hidden></p>
    </div>`,
  props: { film: String, at: Array, marked: Array, looking: String, kept: Number, label: { default: "The tube in the machine" } },

  mounted() {
    // Kept off Vue's watch: thousands of numbers and objects that it need not follow.
    const canvas = this.$el.querySelector("canvas");
    const renderer = this.rendererFor(canvas);
    this.own = {
      canvas,
      renderer,
      stage: new Stage(),
      shown: [0, 0],
      span: [0, 0], // shots that the near look is for
      changed: true,
      drawn: 0,
      coarse: 1,
      bearable: 1,
      moved: false,
      player: new Player(
        (shot, fraction) => this.set(shot, fraction),
        (shot) => this.$emit("shot", { shot }),
        (shot) => this.ended(shot),
      ),
    };
    this.controls(canvas);
    canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault(); // asks the browser to give it back
      this.say(LOST);
    });
    canvas.addEventListener("webglcontextrestored", () => {
      this.say("");
      this.reload();
    });
    this.own.sizes = new ResizeObserver(() => this.resize());
    this.own.sizes.observe(this.$el);
    this.own.theme = new MutationObserver(() => this.dressed());
    this.own.theme.observe(document.body, { attributes: true, attributeFilter: ["class"] });
    this.own.dark = this.isDark();
    this.resize();
    this.show(this.film, this.at, this.marked, this.looking);
    this.$el.machineView = this; // for whoever measures it
    this.loop();
    this.$emit("stands", { kept: this.kept });
  },

  beforeUnmount() {
    const { frame, player, sizes, theme, orbit, stage, renderer } = this.own;
    player.stop();
    cancelAnimationFrame(frame);
    sizes.disconnect();
    theme.disconnect();
    orbit.dispose();
    stage.clear();
    stage.sweep();
    renderer?.dispose();
    renderer?.forceContextLoss();
    delete this.$el.machineView;
  },

  methods: {
    /** Show a film (text of JSON, "" for none) from its first shot on. */
    show(film, at = [0, 0], marked = [], look = null) {
      const { own } = this;
      own.player.stop();
      own.film = film ? JSON.parse(film) : null;
      own.marked = plain(marked);
      own.look = look ?? own.look ?? "machine";
      own.moved = own.moved && look === null;
      own.span = [at[0], at[0]];
      this.draw();
      this.set(at[0], at[1]);
      own.stage.marks(own.marked);
      if (!own.moved) {
        this.look(own.look);
      }
    },

    seek(shot, fraction) {
      this.own.player.stop();
      this.set(shot, fraction);
      this.follow(shot, shot);
    },

    play(shot, speed, seconds) {
      this.follow(shot, shot);
      this.own.player.start(this.shots(), shot, shot, speed, seconds, this.still());
      this.tell();
    },

    play_all(from, speed) {
      const shots = this.shots();
      this.follow(from, shots.length - 1); // from one place: it would jump at every shot
      this.own.player.start(shots, from, shots.length - 1, speed, null, this.still());
      this.tell();
    },

    stop() {
      this.own.player.stop();
      this.tell();
    },

    marks(marked) {
      this.own.marked = plain(marked);
      this.own.stage.marks(this.own.marked);
      this.own.changed = true;
    },

    look(look) {
      const { own } = this;
      own.look = look;
      own.moved = false;
      const { stage, orbit } = own;
      const points = own.film ? stage.pointsFor(look, ...own.span) : [];
      if (!points.length) {
        return;
      }
      const side = sideOf(look, own.film.toward, stage.camera.aspect);
      orbit.target.copy(fit(stage.camera, points, side, stage.width, stage.height));
      orbit.update();
      own.changed = true;
    },

    centreline_now() {
      const found = this.own.stage.tube?.found ?? [];
      return found.length ? pointsOf(found, SPACING) : [];
    },

    // ------------------------------------------------------------------------------------------

    shots() {
      return this.own.film ? this.own.film.shots : [];
    },

    /** The leading part is elsewhere in each shot: the look at it goes along, unless the camera was moved by hand. */
    follow(from, to) {
      this.own.span = [from, to];
      if (this.own.look === "part" && !this.own.moved) {
        this.look("part");
      }
    },

    set(shot, fraction) {
      const { own } = this;
      own.shown = [shot, fraction];
      own.stage.pose(shot, fraction);
      own.changed = true;
      this.tell();
    },

    ended(shot) {
      this.own.span = [shot, shot];
      this.tell();
      this.$emit("finished", { shot });
    },

    /** Say on the element what is shown, for whoever cannot see it. */
    tell() {
      const { shown, player } = this.own;
      Object.assign(this.$el.dataset, {
        shot: shown[0],
        fraction: shown[1].toFixed(4),
        playing: player.playing,
        fps: player.rate.toFixed(1),
        dark: this.own.dark,
        drawn: this.own.drawn,
      });
    },

    loop() {
      const { own } = this;
      const frame = (now) => {
        own.frame = requestAnimationFrame(frame);
        own.player.tick(now);
        this.keepPace(now);
        if (own.changed && own.renderer && !own.renderer.getContext().isContextLost()) {
          own.changed = false;
          own.renderer.render(own.stage.scene, own.stage.camera);
          own.stage.sweep();
          own.drawn += 1;
          this.$el.dataset.drawn = own.drawn;
        }
      };
      own.frame = requestAnimationFrame(frame);
    },

    /** Without WebGL nothing is drawn, but motions still come to their ends. */
    rendererFor(canvas) {
      try {
        const fine = window.devicePixelRatio >= 1.5; // so fine a screen shows no steps in the lines
        return new THREE.WebGLRenderer({ canvas, antialias: !fine });
      } catch {
        this.say(NO_WEBGL);
        return null;
      }
    },

    say(text) {
      const note = this.$el.querySelector("p");
      note.textContent = text;
      note.hidden = !text;
    },

    controls(canvas) {
      const { own } = this;
      own.orbit = new OrbitControls(own.stage.camera, canvas);
      own.orbit.addEventListener("start", () => (own.moved = true));
      own.orbit.addEventListener("change", () => (own.changed = true));
    },

    draw() {
      const { own } = this;
      own.stage.load(own.film, own.dark ? DARK : LIGHT);
      this.resize();
      own.changed = true;
    },

    /** Draw all anew where it stands. */
    reload() {
      const { own } = this;
      this.draw();
      own.stage.pose(...own.shown);
      own.stage.marks(own.marked);
    },

    resize() {
      const { own } = this;
      const { clientWidth: width, clientHeight: height } = this.$el;
      if (!width || !height) {
        return;
      }
      this.sharpen();
      if (own.film && !own.moved && own.stage.tube) {
        this.look(own.look);
      }
      own.changed = true;
    },

    /** Give the canvas its size and resolution. */
    sharpen() {
      const { own } = this;
      const { clientWidth: width, clientHeight: height } = this.$el;
      const ratio = Math.min(window.devicePixelRatio, SHARPEST) * own.coarse;
      own.renderer?.setPixelRatio(ratio);
      own.renderer?.setSize(width, height, false);
      own.stage.resize(width, height, ratio);
      own.changed = true;
    },

    /** Draw motions coarser where the machine is too slow for them, and what stands still sharp. */
    keepPace(now) {
      const { own } = this;
      if (!own.player.playing) {
        own.pace = null;
        this.coarsen(1);
        return;
      }
      own.pace ??= { since: now, frames: -1 };
      own.pace.frames += 1;
      this.coarsen(own.bearable);
      if (own.pace.frames === PACE) {
        const mean = (now - own.pace.since) / PACE;
        own.pace = null;
        if (mean > SLOW || (mean < SLOW / 2 && own.bearable < 1)) {
          own.bearable = Math.min(1, Math.max(COARSEST, own.bearable * Math.sqrt((0.8 * SLOW) / mean)));
        }
      }
    },

    coarsen(coarse) {
      if (this.own.coarse !== coarse) {
        this.own.coarse = coarse;
        this.sharpen();
      }
    },

    isDark() {
      return document.body.classList.contains("body--dark");
    },

    dressed() {
      if (this.own.dark !== this.isDark()) {
        this.own.dark = this.isDark();
        this.reload();
        this.tell();
      }
    },

    still() {
      return window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    },
  },
};
