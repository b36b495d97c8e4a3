// The element of the page: a canvas, its camera, and the loop that draws it when, and only when, something has changed.

import { OrbitControls, THREE } from "nicegui-scene";
import { fit, sideOf } from "bendorder-view/camera.js";
import { pointsOf } from "bendorder-view/centreline.js";
import { DARK, LIGHT } from "bendorder-view/colours.js";
import { Player } from "bendorder-view/player.js";
import { Stage } from "bendorder-view/stage.js";

const POINTS = 5; // spacing of the centreline told to others [mm]

export default {
  template: `
    <div class="bendorder-view" style="position:relative;width:100%;height:100%;min-height:160px;overflow:hidden"
         role="img" aria-label="The tube in the machine">
      <canvas style="position:absolute;inset:0;display:block;width:100%;height:100%;touch-action:none"></canvas>
      <div style="position:absolute;inset:0;display:none;padding:1em;font-size:1.25rem"></div>
    </div>`,

  props: { film: String, at: Array, marked: Array, looking: String },

  mounted() {
    const [canvas, note] = this.$el.children;
    Object.assign(this, { canvas, note, dirty: false, drawn: 0, touched: false, lookingAt: this.looking ?? "machine" });
    this.shot = -1;
    this.fraction = 0;
    this.stage = new Stage();
    this.player = new Player(
      (shot, fraction) => this.moveTo(shot, fraction),
      (shot) => this.$emit("shot", { shot }),
      (shot) => this.$emit("finished", { shot, fraction: 1 }),
    );
    this.openCanvas();
    this.watch();
    this.load(this.film ? JSON.parse(this.film) : null);
    this.resize();
    this.seek(...(this.at ?? [0, 0]));
    this.marks(this.marked ?? []);
    this.$el.machineView = this; // for whoever measures it
    this.loop = requestAnimationFrame((now) => this.frame(now));
  },

  beforeUnmount() {
    this.player.stop();
    cancelAnimationFrame(this.loop);
    this.loop = null;
    this.sizes.disconnect();
    this.themes.disconnect();
    this.controls?.dispose();
    this.stage.clear();
    this.renderer?.dispose();
    this.renderer?.forceContextLoss();
    delete this.$el.machineView;
  },

  methods: {
    // What Python calls.

    show(film) {
      this.player.stop();
      this.load(film ? JSON.parse(film) : null);
      this.marks([]);
      this.moveTo(0, 0);
      if (!this.touched) {
        this.aim();
      }
    },

    seek(shot, fraction) {
      this.player.stop();
      this.moveTo(shot, fraction);
      this.aimAtPart();
    },

    play(shot, speed, seconds) {
      this.begin(shot, shot, speed, seconds);
    },

    play_all(from, speed) {
      this.begin(from, (this.data?.shots.length ?? 0) - 1, speed, null);
    },

    stop() {
      this.player.stop();
      this.tell();
    },

    marks(marked) {
      // What comes through Vue is watched for changes; plain copies are not.
      this.stage.marks(JSON.parse(JSON.stringify(marked)));
      this.redraw();
    },

    look(look) {
      this.lookingAt = look;
      this.touched = false;
      this.aim();
    },

    centreline_now() {
      const found = this.stage.tube?.found ?? [];
      return found.length ? pointsOf(found, POINTS) : [];
    },

    // What shows it.

    begin(from, to, speed, seconds) {
      const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
      this.player.start(this.data?.shots ?? [], from, to, speed, seconds, still);
      this.aimAtPart();
      this.tell();
    },

    load(film) {
      this.data = film;
      this.stage.load(film, this.theme());
      this.shot = -1;
      this.resize();
    },

    moveTo(shot, fraction) {
      if (this.data?.shots[shot]) {
        this.shot = shot;
        this.fraction = Math.min(1, Math.max(0, fraction));
        this.stage.pose(shot, this.fraction);
      }
      this.tell();
      this.redraw();
    },

    /** What others may read off the element. */
    tell() {
      const { dataset } = this.$el;
      dataset.shot = this.shot;
      dataset.fraction = this.fraction.toFixed(4);
      dataset.playing = this.player.playing ? "yes" : "no";
      dataset.fps = this.player.rate.toFixed(1);
      dataset.drawn = this.drawn;
    },

    aim() {
      const points = this.stage.film ? this.stage.pointsFor(this.lookingAt, this.shot) : [];
      if (!points.length || !this.controls) {
        return;
      }
      const { camera } = this.stage;
      const side = sideOf(this.lookingAt, this.data.toward, camera.aspect);
      this.controls.target.copy(fit(camera, points, side));
      this.controls.update();
      this.redraw();
    },

    /** The look at the part is another one for each shot. */
    aimAtPart() {
      if (this.lookingAt === "part" && !this.touched) {
        this.aim();
      }
    },

    theme() {
      return document.body.classList.contains("body--dark") ? DARK : LIGHT;
    },

    repaint() {
      if (this.theme() !== this.stage.theme) {
        const { marked } = this.stage;
        this.stage.load(this.data, this.theme());
        this.stage.pose(this.shot, this.fraction);
        this.stage.marks(marked);
        this.redraw();
      }
    },

    resize() {
      const { clientWidth: width, clientHeight: height } = this.$el;
      if (!width || !height) {
        return; // hidden, in a tab perhaps
      }
      const ratio = Math.min(2, window.devicePixelRatio || 1);
      this.renderer?.setPixelRatio(ratio);
      this.renderer?.setSize(width, height, false);
      this.stage.resize(width, height, ratio);
      if (!this.touched) {
        this.aim();
      }
      this.redraw();
    },

    openCanvas() {
      try {
        this.renderer = new THREE.WebGLRenderer({ canvas: this.canvas, antialias: true, powerPreference: "low-power" });
      } catch {
        this.say("This browser cannot draw in 3D (no WebGL). The steps and pictures beside hold all the same.");
        return;
      }
      this.canvas.addEventListener("webglcontextlost", (event) => {
        event.preventDefault(); // asks the browser to give it back
        this.say("The 3D drawing was interrupted; it comes back by itself, or when the page is loaded again.");
      });
      this.canvas.addEventListener("webglcontextrestored", () => {
        this.say("");
        this.redraw();
      });
      this.controls = new OrbitControls(this.stage.camera, this.canvas);
      this.controls.addEventListener("start", () => (this.touched = true));
      this.controls.addEventListener("change", () => this.redraw());
    },

    watch() {
      this.sizes = new ResizeObserver(() => this.resize());
      this.sizes.observe(this.$el);
      this.themes = new MutationObserver(() => this.repaint());
      this.themes.observe(document.body, { attributeFilter: ["class"] });
    },

    say(text) {
      this.note.textContent = text;
      this.note.style.display = text ? "block" : "none";
    },

    redraw() {
      this.dirty = true;
    },

    frame(now) {
      if (this.loop === null) {
        return;
      }
      this.loop = requestAnimationFrame((next) => this.frame(next));
      this.player.tick(now);
      if (this.dirty && this.renderer && !this.renderer.getContext().isContextLost()) {
        this.dirty = false;
        this.renderer.render(this.stage.scene, this.stage.camera);
        this.drawn += 1;
        this.$el.dataset.drawn = this.drawn;
      }
    },
  },
};
