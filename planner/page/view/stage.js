// The stage: what of a film is drawn, set to a moment of it, with its marks; and the points that a look must show.

import { THREE } from "nicegui-scene";
import { ARM, FACE, pieces, pointsOf, poseAt } from "./centreline.js";
import { Floor } from "./floor.js";
import { label, sizeLabels } from "./labels.js";
import { Machine } from "./machine.js";
import { Paints } from "./solid.js";
import { screenOf } from "./lines.js";
import { matrixAt, Tube } from "./tube.js";

const NEAR_PART = 350; // of the tail that the look at the part still shows [mm]

export class Stage {
  constructor() {
    this.scene = new THREE.Scene();
    this.screen = screenOf();
    this.camera = new THREE.PerspectiveCamera(30, 1, 10, 50000);
    this.camera.up.set(0, 0, 1);
    this.scene.add(this.camera);
    this.film = null;
    this.marked = [];
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
    const under = new THREE.Box3().setFromPoints(this.pointsFor("machine", null).map((p) => new THREE.Vector3(...p)));
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
    this.machine.pose(shot, this.vector);
    this.tube.pose(shot.leads, this.vector);
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
    return { place: mark.place, solid: mark.solid, ring, text };
  }

  placeMarks() {
    this.overlay.visible = this.tube !== null && this.tube.group.visible;
    if (!this.tube?.found.length) {
      return;
    }
    this.floor.alarm(null);
    for (const { place, ring, text, solid } of this.rings ?? []) {
      const frame = this.tube.frameOf(place);
      if (solid === "floor") {
        this.floor.alarm(frame.at);
      }
      ring.matrix.copy(matrixAt(frame.at, frame.along));
      text.position.set(...frame.at);
    }
    this.sizeLabels();
  }

  /** Points [x, y, z] that a look must show; number: the shot that the look at the part is for. */
  pointsFor(look, number) {
    const { film } = this;
    const near = look === "part" && film.tooling.length > 0; // a part alone is near as it is
    const shots = near && film.shots[number] ? [film.shots[number]] : film.shots;
    const points = [];
    for (const shot of shots) {
      addSwept(points, film, this.tube.views[shot.leads], shot, near ? -NEAR_PART : -Infinity);
    }
    for (const { radius, die, clamp, pressure } of film.tooling) {
      const high = Math.max(die.height, clamp.height, pressure.height) / 2;
      const side = -film.toward;
      corners(points, -radius, side * (clamp.width + clamp.opens), -high, radius, -side * 2 * radius, high);
      corners(points, -pressure.length, side * (pressure.width + pressure.opens), -high, 0, 0, high);
    }
    for (const { moves, box: found } of film.solids) {
      if (found && moves === "arm") {
        corners(points, ...found);
      }
    }
    return points;
  }

  resize(width, height, ratio) {
    this.screen.size.value.set(width * ratio, height * ratio);
    this.screen.ratio.value = ratio;
    this.height = height;
    this.camera.aspect = width / height;
    this.camera.updateProjectionMatrix();
    this.sizeLabels();
  }

  sizeLabels() {
    sizeLabels(this.scene, this.height, THREE.MathUtils.degToRad(this.camera.fov));
  }

  clear() {
    this.machine = this.tube = this.floor = null;
    this.rings = [];
    if (this.world) {
      release(this.world);
      this.world.removeFromParent();
      this.paints.dispose();
    }
  }
}

/** Add what the tube sweeps in a shot, ahead of x = from [mm], and the carriage behind it. */
function addSwept(points, film, view, shot, from) {
  const { radius } = film.tube;
  const moments = shot.poses.length > 1 ? 6 * (shot.poses.length - 1) : 0;
  for (let i = 0; i <= moments; i += 1) {
    const pose = poseAt(shot, moments ? i / moments : 0);
    for (const [x, y, z] of shot.shown ? pointsOf(pieces(view, pose, film.toward), 120) : []) {
      if (x >= from) {
        points.push([x - radius, y - radius, z - radius], [x + radius, y + radius, z + radius]);
      }
    }
    if (pose[FACE] !== -1 && -pose[FACE] > from) {
      for (const { moves, box: found } of film.solids) {
        if (found && moves === "carriage") {
          const [x0, y0, z0, x1, y1, z1] = found;
          corners(points, x0 - pose[FACE], y0, z0, x1 - pose[FACE], y1, z1);
        }
      }
    }
    if (!film.tooling.length) {
      continue; // a part alone
    }
    const { radius: clr, clamp } = film.tooling[shot.tooling];
    const reach = clr + clamp.width + clamp.opens;
    const turn = film.toward * (pose[ARM] - Math.PI / 2);
    points.push([reach * Math.cos(turn), film.toward * clr + reach * Math.sin(turn), 0]);
  }
}

function corners(points, x0, y0, z0, x1, y1, z1) {
  for (const x of [x0, x1]) {
    for (const y of [y0, y1]) {
      points.push([x, y, z0], [x, y, z1]);
    }
  }
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
