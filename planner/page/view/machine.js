// The machine with its tooling: what stands, what swings with the arm, what runs on the bed.

import { THREE } from "nicegui-scene";
import { ARM, CLAMP_OPEN, FACE, PRESSURE, PRESSURE_OPEN } from "./centreline.js";
import { along, box, boredBlock, grooved, Solid, upright } from "./solid.js";
import { lines } from "./lines.js";

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
    for (const entry of this.film.solids) {
      const geometry = entry.box ? box(...entry.box) : upright(...entry.cylinder);
      const arm = entry.moves === "arm";
      const look = { colour: arm ? theme.arm : theme.solid, opacity: arm ? theme.armOpacity : theme.solidOpacity, quiet: !arm };
      const solid = this.add(entry.name, geometry, look);
      const where = { frame: this.group, arm: this.onArm, carriage: this.carriage }[entry.moves];
      where.add(solid.group);
    }
  }

  /** Collet and mandrel. */
  dress() {
    const { film, theme, radius } = this;
    if (film.grip !== null) {
      const collet = this.add("collet", along(-Math.max(film.grip, 20), 0, 1.9 * radius, 1.45 * radius), { colour: theme.collet });
      this.collet = collet;
      this.carriage.add(collet.group);
    }
    if (film.mandrel) {
      const { nose, rod } = film.mandrel;
      const body = Math.min(rod, 5 * radius);
      const bar = this.add("mandrel rod", along(-rod, nose - body, 0.5 * radius, 0.5 * radius), { colour: theme.rod, quiet: true });
      const plug = this.add("mandrel", along(nose - body, nose, 0.82 * radius, 0.82 * radius), { colour: theme.rod, quiet: true });
      this.group.add(bar.group, plug.group);
    }
  }

  /** One set of tooling: what stands with it, its die and clamp die on the arm, its pressure die. */
  tooling(tooling) {
    const { theme, film } = this;
    const { toward } = film;
    const { die, hub, wiper, clamp, pressure, radius } = tooling;
    const set = { tooling, still: new THREE.Group(), axis: new THREE.Group(), arm: new THREE.Group() };
    // The arm turns about the die's axis: `axis` stands there and turns, `arm` below it has the machine's origin again.
    set.axis.position.set(0, toward * radius, 0);
    set.arm.position.set(0, -toward * radius, 0);
    set.axis.add(set.arm);
    const round = this.add("bend die", grooved(radius, die.height, die.bore), { colour: theme.die });
    set.axis.add(round.group, this.dieMark(radius, die.height / 2 + 0.6, -toward));
    if (hub) {
      set.axis.add(this.add("die hub", upright(0, 0, hub.radius, -hub.height / 2, hub.height / 2), { colour: theme.hub }).group);
    }
    if (wiper) {
      const block = this.add("wiper die", boredBlock(wiper.length, wiper.width, wiper.height, die.bore, toward), { colour: theme.wiper });
      block.group.position.x = -wiper.length;
      set.still.add(block.group);
    }
    // One millimetre long, stretched to the clamp die in use.
    set.clamp = this.add("clamp die", boredBlock(1, clamp.width, clamp.height, die.bore, -toward), { colour: theme.clamp });
    set.arm.add(set.clamp.group);
    const length = pressure.length;
    set.pressure = this.add("pressure die", boredBlock(length, pressure.width, pressure.height, die.bore, -toward), {
      colour: theme.pressure,
    }).group;
    set.still.add(set.pressure);
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

  /** Set the machine to a pose of a shot. */
  pose(shot, pose) {
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
    set.pressure.position.x = pose[PRESSURE] - tooling.pressure.length;
    set.pressure.position.y = -toward * tooling.pressure.opens * pose[PRESSURE_OPEN];
    this.carriage.visible = pose[FACE] !== -1;
    this.carriage.position.x = -pose[FACE];
    if (this.collet) {
      const open = shot.released ? 1.3 : 1; // an open collet stands off the tube
      this.collet.stretch(1, open, open);
    }
  }

  /** Show solids as struck: a map from name to label text. */
  alarm(texts) {
    for (const solid of this.solids) {
      solid.alarm(texts.get(solid.name) ?? null);
    }
  }
}
