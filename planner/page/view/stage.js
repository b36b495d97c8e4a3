// The stage: what of a film is drawn, set to a moment of it, with its marks; and the points that a look must show.

import { THREE } from "nicegui-scene";
import { frameFromTail, fromTail, pieces, pointsOf, poseAt } from "./centreline.js";
import { Floor } from "./floor.js";
import { fitLabels, label } from "./labels.js";
import { Machine } from "./machine.js";
import { allOf, nearOf } from "./reach.js";
import { Paints } from "./solid.js";
import { screenOf } from "./lines.js";
import { matrixAt, Tube } from "./tube.js";

export class Stage {
  constructor() {
    this.scene = new THREE.Scene();
    this.screen = screenOf();
    this.camera = new THREE.PerspectiveCamera(30, 1, 10, 50000);
    this.camera.up.set(0, 0, 1);
    this.scene.add(this.camera);
    this.film = null;
    this.marked = [];
    this.struck = []; // former sets, still to be given back
    Object.assign(this, { width: 1, height: 1 }); // until the view has a size [CSS px]
  }

  /** Draw a film (null: an empty stage) in a theme's colours. */
  load(film, theme) {
    this.clear();
    Object.assign(this, { film, theme });
    this.scene.background = new THREE.Color(theme.background);
    this.paints = new Paints(theme, this.screen);
    this.world = new THREE.Group();
    this.scene.add(this.world);
    const sky = new THREE.HemisphereLight("#ffffff", theme.ground, theme.sky);
    sky.position.set(0, 0, 1);
    const lamp = new THREE.DirectionalLight("#ffffff", theme.lamp);
    lamp.position.set(-0.6, 0.9, 1.2); // over the left shoulder of whoever looks
    this.camera.clear();
    this.camera.add(lamp, lamp.target);
    this.world.add(sky);
    this.overlay = new THREE.Group();
    this.world.add(this.overlay);
    if (!film) {
      return;
    }
    this.machine = new Machine(film, theme, this.paints);
    this.tube = new Tube(film.tube, film.toward, film.floor, theme, this.screen);
    const all = allOf(film, this.tube.views, film.shots);
    const under = new THREE.Box3().setFromPoints(all.map((p) => new THREE.Vector3(...p)));
    const floor = film.tooling.length ? film.floor : under.min.z;
    this.tube.ground(floor);
    this.floor = new Floor(floor, under, theme, this.screen);
    this.world.add(this.floor.group, this.machine.group, this.tube.group);
  }

  /** Show a shot as far as a fraction of it. */
  pose(number, fraction) {
    const shot = this.film?.shots[number];
    if (!shot) {
      return;
    }
    this.vector = poseAt(shot, fraction);
    this.tube.pose(shot.leads, this.vector);
    this.machine.pose(shot, this.vector, shot.shown ? this.tube.found : []);
    this.tube.group.visible = shot.shown;
    this.placeMarks();
  }

  /** Mark solids and places on the tube. */
  marks(marked) {
    this.marked = marked;
    if (!this.film) {
      return;
    }
    const texts = new Map();
    for (const mark of marked) {
      if (mark.solid) {
        texts.set(mark.solid, mark.place === null && mark.text ? mark.text : mark.solid);
      }
    }
    this.machine.alarm(texts);
    this.floor.alarm(texts.get("floor") ?? null);
    release(this.overlay);
    this.overlay.clear();
    this.rings = marked.filter((mark) => mark.place !== null).map((mark) => this.ringFor(mark));
    this.placeMarks();
  }

  /** A ring about the tube with a label; seen through everything, for the place itself is often hidden. */
  ringFor(mark) {
    const { theme, film } = this;
    const { radius } = film.tube;
    const shape = new THREE.TorusGeometry(1.45 * radius, Math.max(4, 0.26 * radius), 10, 40);
    const ring = new THREE.Mesh(shape, new THREE.MeshBasicMaterial({ color: theme.alarm, depthTest: false }));
    ring.renderOrder = 10;
    ring.matrixAutoUpdate = false;
    const text = label(mark.text, { paper: theme.alarm, ink: "#ffffff", rim: theme.labelPaper });
    text.center.set(0.5, -0.9);
    this.overlay.add(ring, text);
    return { place: mark.place, ring, text };
  }

  /** The place [x, y, z] on the floor, in a list, that is marked as struck at the end of a shot. */
  struckFloor(shot) {
    const mark = this.marked.find((found) => found.solid === "floor");
    if (!mark) {
      return [];
    }
    const { tube, toward } = this.film;
    const found = pieces(this.tube.views[shot.leads], poseAt(shot, 1), toward);
    const [x, y] = mark.place === null ? lowest(found) : frameFromTail(found, fromTail(tube, shot.leads, mark.place)).at;
    return [[x, y, this.floor.group.position.z]];
  }

  placeMarks() {
    this.overlay.visible = this.tube !== null && this.tube.group.visible;
    if (!this.tube?.found.length) {
      return;
    }
    const floor = this.marked.find((mark) => mark.solid === "floor");
    if (floor) {
      this.floor.under(floor.place === null ? lowest(this.tube.found) : this.tube.frameOf(floor.place).at);
    }
    for (const { place, ring, text } of this.rings ?? []) {
      const frame = this.tube.frameOf(place);
      ring.matrix.copy(matrixAt(frame.at, frame.along));
      text.position.set(...frame.at);
    }
    this.sizeLabels();
  }

  /** Points [x, y, z] that a look must show; from, to: the shots that the near look is for. */
  pointsFor(look, from, to) {
    const { film } = this;
    const shots = film.shots.slice(from, to + 1);
    // A part alone is near as it is.
    if (look === "part" && shots.length && film.tooling.length) {
      return [...nearOf(film, this.tube.views, shots), ...this.struckFloor(shots[shots.length - 1])];
    }
    return allOf(film, this.tube.views, film.shots);
  }

  resize(width, height, ratio) {
    this.screen.size.value.set(width * ratio, height * ratio);
    this.screen.ratio.value = ratio;
    Object.assign(this, { width, height });
    this.camera.aspect = width / height;
    this.camera.updateProjectionMatrix();
    this.sizeLabels();
  }

  sizeLabels() {
    fitLabels(this.scene, this.width, this.height, THREE.MathUtils.degToRad(this.camera.fov));
  }

  clear() {
    this.machine = this.tube = this.floor = null;
    this.rings = [];
    if (this.world) {
      this.world.removeFromParent();
      this.struck.push([this.world, this.paints]);
      this.world = null;
    }
  }

  /** Give back what former films hold. Once the next one is drawn: it then finds their shaders, and need not build its own. */
  sweep() {
    for (const [world, paints] of this.struck.splice(0)) {
      release(world);
      paints.dispose();
    }
  }
}

/** Where the tube comes nearest to the floor. */
function lowest(found) {
  return pointsOf(found, 50).reduce((one, other) => (other[2] < one[2] ? other : one));
}

/** Give back what the graphics card holds of everything below an object. */
function release(object) {
  object.traverse((found) => {
    found.geometry?.dispose();
    for (const material of found.material ? [found.material].flat() : []) {
      material.map?.dispose();
      material.dispose();
    }
    if (found.isInstancedMesh) {
      found.dispose();
    }
  });
}
