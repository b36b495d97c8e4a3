// Solids of the machine: faces, edges as lines, and the look of one that is struck.

import { THREE } from "nicegui-scene";
import { edgesOf, hatched, lineMaterial } from "./lines.js";
import { label } from "./labels.js";
import { WIDTH } from "./colours.js";

/** The materials that solids share, by theme. */
export class Paints {
  constructor(theme, screen) {
    Object.assign(this, { theme, screen, made: new Map() });
    this.line = lineMaterial(screen, theme.line, WIDTH.line);
    this.quietLine = lineMaterial(screen, theme.quietLine, WIDTH.quiet);
    this.alarmLine = lineMaterial(screen, theme.alarm, WIDTH.alarm);
    this.alarmFace = hatched(screen, theme.alarm, theme.alarmUnder, BEHIND_LINES);
    this.alarmRim = new THREE.MeshBasicMaterial({ color: theme.alarm, side: THREE.BackSide });
  }

  /** Faces in a colour; see-through ones hide nothing behind them. */
  face(colour, opacity = 1) {
    const key = `${colour} ${opacity}`;
    if (!this.made.has(key)) {
      const through = opacity < 1 ? { transparent: true, opacity, depthWrite: false } : {};
      this.made.set(key, new THREE.MeshLambertMaterial({ color: colour, ...BEHIND_LINES, ...through }));
    }
    return this.made.get(key);
  }

  dispose() {
    for (const material of [this.line, this.quietLine, this.alarmLine, this.alarmFace, this.alarmRim, ...this.made.values()]) {
      material.dispose();
    }
  }
}

const BEHIND_LINES = { polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 };
const RIM = 5; // of a struck solid [mm]

export class Solid {
  /** look: {colour, opacity, quiet}. */
  constructor(name, geometry, paints, look) {
    Object.assign(this, { name, geometry, paints });
    this.face = paints.face(look.colour, look.opacity);
    this.line = look.quiet ? paints.quietLine : paints.line;
    this.mesh = new THREE.Mesh(geometry, this.face);
    this.edges = edgesOf(geometry, this.line);
    this.group = new THREE.Group().add(this.mesh, this.edges);
    this.size = new THREE.Vector3(1, 1, 1);
    geometry.computeBoundingBox();
  }

  /** Stretch the solid from its own origin; lines, rim and label keep their widths. */
  stretch(x, y, z) {
    if (x === this.size.x && y === this.size.y && z === this.size.z) {
      return;
    }
    this.size.set(x, y, z);
    this.mesh.scale.copy(this.size);
    this.edges.scale.copy(this.size);
    this.place();
  }

  /** Show the solid as struck, with a label if it is to have one, or as usual (text null). */
  alarm(text, labelled = true) {
    this.clear();
    if (text === null) {
      return;
    }
    const { paints, geometry } = this;
    const { theme } = paints;
    this.mesh.material = paints.alarmFace;
    this.edges.material = paints.alarmLine;
    this.rim = new THREE.Mesh(geometry, paints.alarmRim);
    this.group.add(this.rim);
    if (!labelled) {
      this.place();
      return;
    }
    this.label = label(text, { paper: theme.labelPaper, ink: theme.labelText, rim: theme.alarm });
    this.label.center.set(0.5, -0.3);
    this.place();
    this.group.add(this.label);
  }

  /** Put rim and label about the solid as it is stretched. */
  place() {
    if (!this.rim) {
      return;
    }
    const { min, max } = this.geometry.boundingBox;
    const middle = min.clone().add(max).multiplyScalar(0.5).multiply(this.size);
    const grow = max.clone().sub(min).multiply(this.size);
    grow.set(grown(grow.x), grown(grow.y), grown(grow.z));
    this.rim.scale.copy(this.size).multiply(grow);
    this.rim.position.copy(middle).sub(middle.clone().multiply(grow));
    this.label?.position.set(middle.x, middle.y, max.z * this.size.z);
  }

  clear() {
    this.mesh.material = this.face;
    this.edges.material = this.line;
    for (const extra of [this.rim, this.label]) {
      extra?.removeFromParent();
    }
    this.label?.material.map.dispose();
    this.label?.material.dispose();
    this.rim = this.label = undefined;
  }
}

function grown(size) {
  return (size + 2 * RIM) / Math.max(size, 1);
}

export function box(x0, y0, z0, x1, y1, z1) {
  const geometry = new THREE.BoxGeometry(x1 - x0, y1 - y0, z1 - z0);
  return geometry.translate((x0 + x1) / 2, (y0 + y1) / 2, (z0 + z1) / 2);
}

export function upright(x, y, radius, z0, z1) {
  const geometry = new THREE.CylinderGeometry(radius, radius, z1 - z0, 36);
  return geometry.rotateX(Math.PI / 2).translate(x, y, (z0 + z1) / 2);
}

/** A cylinder about the feed's axis from x0 to x1, its radius tapering from r0 to r1. */
export function along(x0, x1, r0, r1) {
  const geometry = new THREE.CylinderGeometry(r1, r0, x1 - x0, 20);
  return geometry.rotateZ(-Math.PI / 2).translate((x0 + x1) / 2, 0, 0);
}

/** A ball about the feed's axis that is cut off flat at half its length to either side [mm]. */
export function ball(half, radius) {
  const profile = [[0, -half]];
  const most = Math.asin(half / radius);
  for (let i = 0; i <= 8; i += 1) {
    const angle = most * (i / 4 - 1);
    profile.push([radius * Math.cos(angle), radius * Math.sin(angle)]);
  }
  profile.push([0, half]);
  return new THREE.LatheGeometry(profile.map(([rho, x]) => new THREE.Vector2(rho, x)), 20).rotateZ(-Math.PI / 2);
}

/** A block of a length along x on one side (±1) of the feed, less half a bore at its inner face. */
export function boredBlock(length, width, height, bore, side) {
  const half = height / 2;
  const shape = new THREE.Shape();
  shape.moveTo(0, -half);
  shape.lineTo(side * width, -half);
  shape.lineTo(side * width, half);
  shape.lineTo(0, half);
  if (bore < half) {
    shape.lineTo(0, bore);
    for (let i = 1; i <= 10; i += 1) {
      const angle = Math.PI / 2 - (Math.PI * i) / 10;
      shape.lineTo(side * bore * Math.cos(angle), bore * Math.sin(angle));
    }
  }
  const geometry = new THREE.ExtrudeGeometry(shape, { depth: length, bevelEnabled: false });
  // Drawn in its (y, z) and pulled out along the third axis, which becomes x.
  return geometry.applyMatrix4(new THREE.Matrix4().set(0, 0, 1, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1));
}

/** The bend die about its own axis (z): radius of the groove's centre and of the lips, height, groove's radius. */
export function grooved(radius, height, bore) {
  const half = height / 2;
  const profile = [[0, -half], [radius, -half]];
  if (bore < half) {
    for (let i = 0; i <= 10; i += 1) {
      const angle = -Math.PI / 2 + (Math.PI * i) / 10;
      profile.push([radius - bore * Math.cos(angle), bore * Math.sin(angle)]);
    }
  }
  profile.push([radius, half], [0, half]);
  const points = profile.map(([rho, z]) => new THREE.Vector2(rho, z));
  return new THREE.LatheGeometry(points, 48).rotateX(Math.PI / 2);
}
