// The floor with a quiet grid of 500 mm and the direction of the feed.

import { THREE } from "nicegui-scene";
import { label } from "./labels.js";
import { hatched } from "./lines.js";

const SPOT = 450; // radius of the floor that is shown as struck [mm]
const MESH = 500; // of the grid [mm]

export class Floor {
  /** A floor at height z [mm] under a box [mm] {min, max} with room about it. */
  constructor(z, under, theme, screen) {
    this.group = new THREE.Group();
    this.group.position.z = z;
    const room = 1200;
    const [x0, x1] = [down(under.min.x - room), up(under.max.x + room)];
    const [y0, y1] = [down(under.min.y - room), up(under.max.y + room)];
    const behind = { polygonOffset: true, polygonOffsetFactor: 2, polygonOffsetUnits: 8 };
    const usual = new THREE.MeshBasicMaterial({ color: theme.floor, ...behind });
    const plate = new THREE.Mesh(new THREE.PlaneGeometry(x1 - x0, y1 - y0), usual);
    plate.position.set((x0 + x1) / 2, (y0 + y1) / 2, 0);
    this.theme = theme;
    this.spot = spot(screen, theme);
    this.group.add(plate, grid(x0, x1, y0, y1, theme), arrow(theme), this.spot);
  }

  /** Show the floor as struck, with a label, or as usual (text null). */
  alarm(text) {
    const { theme, spot: struck } = this;
    if (this.label) {
      this.label.removeFromParent();
      this.label.material.map.dispose();
      this.label.material.dispose();
      this.label = null;
    }
    struck.visible = text !== null;
    if (text !== null) {
      this.label = label(text, { paper: theme.labelPaper, ink: theme.labelText, rim: theme.alarm });
      this.label.center.set(0.5, 1.4);
      struck.add(this.label);
    }
  }

  /** Say below which place [x, y, z] the floor is struck. */
  under([x, y]) {
    this.spot.position.set(x, y, 1);
  }
}

/** A hatched round with a rim: the floor where it is struck. */
function spot(screen, theme) {
  const face = hatched(screen, theme.alarm, theme.alarmUnder);
  const rim = new THREE.MeshBasicMaterial({ color: theme.alarm });
  const round = new THREE.Mesh(new THREE.CircleGeometry(SPOT, 64), face);
  const ring = new THREE.Mesh(new THREE.RingGeometry(SPOT, 1.08 * SPOT, 64), rim);
  const found = new THREE.Group().add(round, ring);
  found.visible = false;
  return found;
}

function down(x) {
  return MESH * Math.floor(x / MESH);
}

function up(x) {
  return MESH * Math.ceil(x / MESH);
}

function grid(x0, x1, y0, y1, theme) {
  const points = [];
  const colours = [];
  const [quiet, strong] = [new THREE.Color(theme.grid), new THREE.Color(theme.gridStrong)];
  const line = (a, b, axis) => {
    points.push(...a, 1, ...b, 1);
    const colour = axis ? strong : quiet;
    colours.push(...colour.toArray(), ...colour.toArray());
  };
  for (let x = x0; x <= x1; x += MESH) {
    line([x, y0], [x, y1], x === 0);
  }
  for (let y = y0; y <= y1; y += MESH) {
    line([x0, y], [x1, y], y === 0);
  }
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", new THREE.Float32BufferAttribute(points, 3));
  geometry.setAttribute("color", new THREE.Float32BufferAttribute(colours, 3));
  return new THREE.LineSegments(geometry, new THREE.LineBasicMaterial({ vertexColors: true }));
}

/** A flat arrow along the feed, ahead of the machine, with its word. */
function arrow(theme) {
  const shape = new THREE.Shape();
  const outline = [[0, 30], [380, 30], [380, 90], [560, 0], [380, -90], [380, -30], [0, -30]];
  outline.forEach(([x, y], i) => (i ? shape.lineTo(x, y) : shape.moveTo(x, y)));
  const flat = new THREE.Mesh(new THREE.ShapeGeometry(shape), new THREE.MeshBasicMaterial({ color: theme.arrow }));
  flat.position.set(300, 0, 1.5);
  const text = label("feed", { paper: theme.floor, ink: theme.arrowText, pixels: 26 });
  text.material.depthTest = true; // it lies on the floor: the machine may hide it
  text.renderOrder = 0;
  text.position.set(430, 0, 40);
  text.center.set(0.5, 0.5);
  return new THREE.Group().add(flat, text);
}
