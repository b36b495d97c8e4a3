// The tube: one sweep of rings with a fixed index buffer, whose vertices are set anew for every pose.

import { THREE } from "nicegui-scene";
import { cross, frameAt, frameFromTail, fromTail, pieces, seenFrom } from "./centreline.js";
import { label } from "./labels.js";
import { WIDTH } from "./colours.js";

const AROUND = 18; // vertices of a ring
const ARC_STEP = (7 * Math.PI) / 180; // an arc has a ring at least so often [rad]
const SCRIBE = 0.16; // half the width of the scribed line [rad]
const COLUMNS = Array.from({ length: AROUND }, (_, i) => (2 * Math.PI * i) / AROUND);
const UP = new THREE.Vector3(0, 0, 1);

export class Tube {
  constructor(tube, toward, floor, theme, screen) {
    Object.assign(this, { tube, toward, theme });
    this.group = new THREE.Group();
    this.views = { A: seenFrom(tube, "A"), B: seenFrom(tube, "B") };
    const arcs = tube.angles.map((angle) => Math.max(2, Math.ceil(angle / ARC_STEP) + 1));
    this.rings = arcs.reduce((sum, count) => sum + count, 2);
    this.arcRings = { A: [...arcs], B: [...arcs].reverse() };
    this.skin = this.sweep(COLUMNS.length, true);
    this.scribe = this.sweep(2, false);
    this.body(floor, screen);
    this.ends = { A: this.end("A"), B: this.end("B") };
    this.bendMarks();
    this.found = [];
  }

  /** Geometry of all rings joined by quads; closed: the last column joins the first. */
  sweep(columns, closed) {
    const geometry = new THREE.BufferGeometry();
    const buffer = () => new THREE.BufferAttribute(new Float32Array(3 * columns * this.rings), 3).setUsage(THREE.DynamicDrawUsage);
    geometry.setAttribute("position", buffer());
    geometry.setAttribute("normal", buffer());
    const index = [];
    const strips = closed ? columns : columns - 1;
    for (let ring = 0; ring < this.rings - 1; ring += 1) {
      for (let i = 0; i < strips; i += 1) {
        const a = ring * columns + i;
        const b = ring * columns + ((i + 1) % columns);
        index.push(a, b, a + columns, b, b + columns, a + columns); // seen from outside counter-clockwise
      }
    }
    geometry.setIndex(index);
    return geometry;
  }

  body(floor, screen) {
    const { theme } = this;
    const skin = new THREE.Mesh(this.skin, new THREE.MeshLambertMaterial({ color: theme.tube, side: THREE.DoubleSide }));
    const outline = new THREE.Mesh(this.skin, outlineMaterial(screen, theme.tubeLine, WIDTH.line));
    const scribe = new THREE.Mesh(this.scribe, new THREE.MeshBasicMaterial({ color: theme.scribe, side: THREE.DoubleSide }));
    const flat = new THREE.MeshBasicMaterial({ color: theme.shadow, side: THREE.DoubleSide });
    const shadow = new THREE.Mesh(this.skin, flat);
    shadow.matrixAutoUpdate = false;
    this.shadow = shadow;
    this.ground(floor);
    for (const mesh of [skin, outline, scribe, shadow]) {
      mesh.frustumCulled = false;
    }
    this.group.add(skin, outline, scribe, shadow);
  }

  /** Cast the shadow on a floor at this height [mm]. */
  ground(floor) {
    this.shadow.matrix.makeScale(1, 1, 0).setPosition(0, 0, floor + 2);
  }

  /** End A has a round plate and a round letter, end B a square one. */
  end(letter) {
    const { radius } = this.tube;
    const look = letter === "A" ? this.theme.endA : this.theme.endB;
    const thick = Math.max(5, 0.25 * radius);
    const plate =
      letter === "A"
        ? new THREE.CylinderGeometry(1.12 * radius, 1.12 * radius, thick, 24).rotateX(Math.PI / 2)
        : new THREE.BoxGeometry(2.2 * radius, 2.2 * radius, thick);
    const mesh = new THREE.Mesh(plate, new THREE.MeshLambertMaterial({ color: look.paper }));
    const shape = letter === "A" ? "round" : "square";
    const sprite = label(letter, { paper: look.paper, ink: look.text, rim: look.text, shape, pixels: 32 });
    sprite.center.set(0.5, -0.35);
    const group = new THREE.Group().add(mesh, sprite);
    this.group.add(group);
    return group;
  }

  bendMarks() {
    const { radius, angles } = this.tube;
    const ring = new THREE.TorusGeometry(1.02 * radius, Math.max(1.2, 0.07 * radius), 5, 20);
    this.bands = new THREE.InstancedMesh(ring, new THREE.MeshBasicMaterial({ color: this.theme.mark }), 2 * angles.length + 2);
    this.bands.frustumCulled = false;
    this.group.add(this.bands);
  }

  /** Set the tube to a pose. */
  pose(leads, pose) {
    const view = this.views[leads];
    this.leads = leads;
    this.found = pieces(view, pose, this.toward);
    const counts = this.arcRings[leads];
    let ring = 0;
    const { found } = this;
    this.ring(ring, found[0].start, found[0].along, found[0].side);
    for (let k = counts.length - 1, piece = 1; k >= 0; k -= 1, piece += 2) {
      for (let i = 0; i < counts[k]; i += 1) {
        const frame = frameAt(found[piece], (found[piece].length * i) / (counts[k] - 1));
        ring += 1;
        this.ring(ring, frame.at, frame.along, frame.side);
      }
    }
    const last = found[found.length - 1];
    const lead = frameAt(last, last.length);
    this.ring(ring + 1, lead.at, lead.along, lead.side);
    for (const geometry of [this.skin, this.scribe]) {
      geometry.attributes.position.needsUpdate = true;
      geometry.attributes.normal.needsUpdate = true;
    }
    const tail = leads === "A" ? this.ends.B : this.ends.A;
    place(this.ends[leads], lead.at, lead.along);
    place(tail, found[0].start, found[0].along);
    this.placeBands(view, pose);
  }

  ring(ring, at, along, side) {
    const across = cross(along, side);
    const { radius } = this.tube;
    fill(this.skin, ring * AROUND, COLUMNS, at, side, across, radius);
    fill(this.scribe, ring * 2, [-SCRIBE, SCRIBE], at, side, across, 1.02 * radius);
  }

  /** Thin rings where the arcs of bends to come will begin and end, and where trim is to be cut off. */
  placeBands(view, pose) {
    const { angles, radii, straights } = view;
    let count = 0;
    let from = view.trimTail + straights[angles.length];
    const band = (s) => {
      const frame = frameFromTail(this.found, s);
      this.bands.setMatrixAt(count, matrixAt(frame.at, frame.along));
      count += 1;
    };
    for (let k = angles.length - 1; k >= 0; k -= 1) {
      const length = radii[k] * angles[k];
      if (pose[view.number[k]] === 0) {
        band(from);
        band(from + length);
      }
      from += length + straights[k];
    }
    if (view.trimTail > 0) {
      band(view.trimTail);
    }
    if (view.trimLead > 0) {
      band(from);
    }
    this.bands.count = count;
    this.bands.instanceMatrix.needsUpdate = true;
  }

  /** Place and direction of a stock coordinate counted from end A [mm]. */
  frameOf(stock) {
    return frameFromTail(this.found, fromTail(this.tube, this.leads, stock));
  }
}

function fill(geometry, first, columns, at, side, across, radius) {
  const position = geometry.attributes.position.array;
  const normal = geometry.attributes.normal.array;
  let o = 3 * first;
  for (let i = 0; i < columns.length; i += 1) {
    const c = Math.cos(columns[i]);
    const s = Math.sin(columns[i]);
    for (let axis = 0; axis < 3; axis += 1, o += 1) {
      const out = c * side[axis] + s * across[axis];
      normal[o] = out;
      position[o] = at[axis] + radius * out;
    }
  }
}

export function matrixAt(at, along) {
  const turn = new THREE.Quaternion().setFromUnitVectors(UP, new THREE.Vector3(...along));
  return new THREE.Matrix4().compose(new THREE.Vector3(...at), turn, new THREE.Vector3(1, 1, 1));
}

function place(object, at, along) {
  object.position.set(...at);
  object.quaternion.setFromUnitVectors(UP, new THREE.Vector3(...along));
}

/** The far side of the tube, a little wider on the screen than the tube itself: its outline. */
function outlineMaterial(screen, colour, width) {
  return new THREE.ShaderMaterial({
    side: THREE.BackSide,
    uniforms: { color: { value: new THREE.Color(colour) }, size: screen.size, ratio: screen.ratio },
    vertexShader: /* glsl */ `
      uniform vec2 size;
      uniform float ratio;
      void main() {
        gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
        vec2 out_ = (projectionMatrix * vec4(normalMatrix * normal, 0.0)).xy * size;
        float run = length(out_);
        if (run > 1e-6) gl_Position.xy += out_ / run * ${(2 * width).toFixed(2)} * ratio / size * gl_Position.w;
      }`,
    fragmentShader: /* glsl */ `
      uniform vec3 color;
      void main() {
        gl_FragColor = vec4(color, 1.0);
        #include <colorspace_fragment>
      }`,
  });
}
