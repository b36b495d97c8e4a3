// Where the camera stands: so that given points fill the view from a given side and none is cut off.

import { THREE } from "nicegui-scene";

const EDGE = { wide: 28, high: 46 }; // room at the view's edges, for outlines and for the letters at the tube's ends [CSS px]
const LEAST = 0.6; // of the view's width and height that points may use, however small the view is

/** From where a look sees [unit vector toward the camera] in a view so wide for its height. */
export function sideOf(look, toward, aspect) {
  const side = {
    above: [0, -0.001, 1],
    front: [1, 0, 0.12],
    part: aspect < 1 ? [0.7, -0.4 * toward, 0.8] : [0.55, -0.5 * toward, 0.85],
    machine: aspect < 1 ? [0.8, -0.36 * toward, 0.75] : [0.5, -0.62 * toward, 0.72],
  }[look];
  return new THREE.Vector3(...side).normalize();
}

/**
 * Place a perspective camera so that it sees all points [x, y, z] from a side, in a view so wide and high [CSS px]; return
 * the point to turn about.
 */
export function fit(camera, points, side, width, height) {
  const right = new THREE.Vector3(0, 0, 1).cross(side).normalize();
  const up = side.clone().cross(right);
  const tangent = Math.tan(THREE.MathUtils.degToRad(camera.fov) / 2);
  const wide = { axis: right, tangent: tangent * camera.aspect * Math.max(LEAST, 1 - (2 * EDGE.wide) / width) };
  const high = { axis: up, tangent: tangent * Math.max(LEAST, 1 - (2 * EDGE.high) / height) };
  const depth = points.map((p) => p[0] * side.x + p[1] * side.y + p[2] * side.z);
  let distance = Math.max(...bounds(depth)) + 50;
  for (const span of [wide, high]) {
    // A point at (r, w) is seen by a camera at (c, d) if |r − c| ≤ (d − w)·tangent: two half-planes, tight at once for the
    // smallest d.
    let [low, top] = [-Infinity, -Infinity];
    points.forEach((p, i) => {
      const r = p[0] * span.axis.x + p[1] * span.axis.y + p[2] * span.axis.z;
      top = Math.max(top, r + depth[i] * span.tangent);
      low = Math.max(low, -r + depth[i] * span.tangent);
    });
    span.centre = (top - low) / 2;
    distance = Math.max(distance, (top + low) / (2 * span.tangent));
  }
  const [near, far] = bounds(depth);
  const middle = (near + far) / 2;
  const on = right.multiplyScalar(wide.centre).addScaledVector(up, high.centre);
  camera.position.copy(on).addScaledVector(side, distance);
  camera.near = Math.max(5, 0.01 * distance);
  camera.far = 10 * distance + 40000;
  camera.updateProjectionMatrix();
  return on.clone().addScaledVector(side, middle);
}

function bounds(values) {
  let [low, high] = [Infinity, -Infinity];
  for (const value of values) {
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return [low, high];
}
