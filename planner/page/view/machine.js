// The machine with its tooling: what stands, what swings with the arm, what runs on the bed.

import { THREE } from "nicegui-scene";
import { ARM, CLAMP_OPEN, DROP, FACE, frameFromTail, PRESSURE, PRESSURE_OPEN, X } from "./centreline.js";
import { along, ball, box, boredBlock, grooved, Solid, upright } from "./solid.js";
import { lines } from "./lines.js";

const FEED = new THREE.Vector3(1, 0, 0);

export class Machine {
  constructor(film, theme, paints) {
    Object.assign(this, { film, theme, paints, solids: [], sets: [] });
    this.group = new THREE.Group();
    this.carriage = new THREE.Group();
    this.group.add(this.carriage);
    this.radius = film.tube.radius;
    this.dress();
    film.tooling.forEach((tooling) => this.sets.push(this.tooling(tooling)));
    this.ownSolids();
  }

  /** The profile's own solids; those on the arm hang on the set in use, for its die is the arm's axis. */
  ownSolids() {
    const { theme } = this;
    this.onArm = new THREE.Group();
    this.onSlide = new THREE.Group(); // they go with the pressure die, and are written as it stands closed and at home
    this.group.add(this.onSlide);
    for (const entry of this.film.solids) {
      const geometry = entry.box ? box(...entry.box) : upright(...entry.cylinder);
      const arm = entry.moves === "arm";
      const look = { colour: arm ? theme.arm : theme.solid, opacity: arm ? theme.armOpacity : theme.solidOpacity, quiet: !arm };
      const solid = this.add(entry.name, geometry, look);
      const where = { frame: this.group, arm: this.onArm, carriage: this.carriage, "pressure die": this.onSlide }[entry.moves];
      where.add(solid.group);
    }
  }

  /** The collet. */
  dress() {
    const { film, theme, radius } = this;
    if (film.grip !== null) {
      const collet = this.add("collet", along(-Math.max(film.grip, 20), 0, 1.9 * radius, 1.45 * radius), { colour: theme.collet });
      this.collet = collet;
      this.carriage.add(collet.group);
    }
  }

  /** Mandrel and rod of a set of tooling, and the balls before the nose, which lie in the tube wherever it runs. */
  mandrel(set, { nose, balls, reach, rods }) {
    const look = { colour: this.theme.rod, quiet: true };
    set.rod = new THREE.Group();
    for (const [name, from, to, thick] of rods) {
      set.rod.add(this.add(name, along(from, to, thick, thick), look).group);
    }
    const [name, , , thick] = rods[rods.length - 1];
    const half = balls ? (reach - nose) / balls / 2 : 0;
    set.balls = Array.from({ length: balls }, (_, i) => {
      const solid = this.add(name, ball(Math.min(half, thick), thick), look);
      return { solid, at: nose + (2 * i + 1) * half };
    });
    set.reach = reach;
    set.still.add(set.rod, ...set.balls.map(({ solid }) => solid.group));
  }

  /** One set of tooling: what stands with it, its die, grip section and clamp die on the arm, its pressure die. */
  tooling(tooling) {
    const { theme, film } = this;
    const { toward } = film;
    const { die, hub, wiper, section, clamp, pressure, mandrel, radius } = tooling;
    const set = { tooling, balls: [], still: new THREE.Group(), axis: new THREE.Group(), arm: new THREE.Group(), die: new THREE.Group() };
    // The arm turns about the die's axis: `axis` stands there and turns, `arm` below it has the machine's origin again.
    set.axis.position.set(0, toward * radius, 0);
    set.arm.position.set(0, -toward * radius, 0);
    set.axis.add(set.arm, set.die);
    const round = this.add("bend die", grooved(radius, die.height, die.bore), { colour: theme.die });
    set.die.add(round.group, this.dieMark(radius, die.height / 2 + 0.6, -toward));
    if (hub) {
      set.die.add(this.add("die hub", upright(0, 0, hub.radius, -hub.height / 2, hub.height / 2), { colour: theme.hub }).group);
    }
    if (wiper) {
      const block = this.add("wiper die", boredBlock(wiper.length, wiper.width, wiper.height, die.bore, toward), { colour: theme.wiper });
      block.group.position.x = -wiper.length;
      set.still.add(block.group);
    }
    // One millimetre long, stretched to the clamp die in use; the grip section likewise, behind the tube.
    if (section) {
      set.section = this.add("grip section", boredBlock(1, section.depth, section.height, die.bore, toward), { colour: theme.die });
      set.arm.add(set.section.group);
    }
    set.clamp = this.add("clamp die", boredBlock(1, clamp.width, clamp.height, die.bore, -toward), { colour: theme.clamp });
    set.arm.add(set.clamp.group);
    const length = pressure.length;
    set.pressure = this.add("pressure die", boredBlock(length, pressure.width, pressure.height, die.bore, -toward), {
      colour: theme.pressure,
    }).group;
    set.still.add(set.pressure);
    if (mandrel) {
      this.mandrel(set, mandrel);
    }
    set.still.visible = set.axis.visible = false;
    this.group.add(set.still, set.axis);
    return set;
  }

  /** A line on the die's top from its axis to the tangent point, so that its turning is seen. */
  dieMark(radius, z, side) {
    return lines([0, 0, z, 0, side * radius, z, 0, 0, -z, 0, side * radius, -z], this.paints.line);
  }

  add(name, geometry, look) {
    const solid = new Solid(name, geometry, this.paints, look);
    this.solids.push(solid);
    return solid;
  }

  /** Set the machine to a pose of a shot; found: the pieces of the tube's centreline in that pose, none if it is away. */
  pose(shot, pose, found) {
    const set = this.sets[shot.tooling];
    if (!set) {
      return; // a part alone
    }
    for (const other of this.sets) {
      other.still.visible = other.axis.visible = other === set;
    }
    const { toward } = this.film;
    const { tooling } = set;
    set.arm.add(this.onArm);
    set.axis.rotation.z = toward * pose[ARM];
    set.clamp.stretch(shot.clamp, 1, 1);
    set.clamp.group.position.y = -toward * tooling.clamp.opens * pose[CLAMP_OPEN];
    set.die.position.z = -pose[DROP];
    if (set.section) {
      set.section.stretch(tooling.section.length ?? shot.clamp, 1, 1);
      set.section.group.position.z = -pose[DROP];
    }
    this.onSlide.position.set(pose[PRESSURE], -toward * tooling.pressure.opens * pose[PRESSURE_OPEN], 0);
    set.pressure.position.copy(this.onSlide.position).setX(pose[PRESSURE] - tooling.pressure.length);
    this.poseMandrel(set, shot, pose, found);
    this.carriage.visible = pose[FACE] !== -1;
    this.carriage.position.x = -pose[FACE];
    if (this.collet) {
      const open = shot.released ? 1.3 : 1; // an open collet stands off the tube
      this.collet.stretch(1, open, open);
    }
  }

  /** Drawn back the mandrel ends at the tangent point. Within the tube the balls lie on its centreline. */
  poseMandrel(set, shot, pose, found) {
    if (!set.rod) {
      return;
    }
    const back = shot.drawn_back ? set.reach : 0;
    set.rod.position.x = -back;
    const last = found[found.length - 1];
    for (const { solid, at } of set.balls) {
      const x = at - back;
      const fromTail = x - pose[X];
      const within = last && fromTail > 0 && fromTail < last.from + last.length;
      const frame = within ? frameFromTail(found, fromTail) : { at: [x, 0, 0], along: [1, 0, 0] };
      solid.group.position.set(...frame.at);
      solid.group.quaternion.setFromUnitVectors(FEED, new THREE.Vector3(...frame.along));
    }
  }

  /** Show solids as struck: a map from name to label text. What is made of more than one solid has one label. */
  alarm(texts) {
    const said = new Set();
    for (const solid of this.solids) {
      solid.alarm(texts.get(solid.name) ?? null, !said.has(solid.name));
      said.add(solid.name);
    }
  }
}
