// Lines as wide as wanted: WebGL itself draws one device pixel, which nobody sees from three metres.

import { THREE } from "nicegui-scene";

const VERTEX = /* glsl */ `
  attribute vec3 lineStart;
  attribute vec3 lineEnd;
  uniform vec2 size;
  uniform float width;
  uniform float ratio;
  void main() {
    vec4 a = modelViewMatrix * vec4(lineStart, 1.0);
    vec4 b = modelViewMatrix * vec4(lineEnd, 1.0);
    // An end behind the eye would come out mirrored: cut the line where it enters the view.
    float near = projectionMatrix[3][2] / (projectionMatrix[2][2] - 1.0);
    if (a.z > -near && b.z < -near) a = mix(a, b, (a.z + near) / (a.z - b.z));
    else if (b.z > -near && a.z < -near) b = mix(b, a, (b.z + near) / (b.z - a.z));
    // Nearer to the eye along the line of sight: the line stays where it is on the screen, but before its own faces.
    a.xyz *= 0.9985;
    b.xyz *= 0.9985;
    vec4 p = projectionMatrix * a;
    vec4 q = projectionMatrix * b;
    vec2 run = (q.xy / q.w - p.xy / p.w) * size;
    vec2 dir = length(run) > 1e-6 ? normalize(run) : vec2(1.0, 0.0);
    vec4 end = position.y < 0.5 ? p : q;
    vec2 off = vec2(-dir.y, dir.x) * position.x + dir * (position.y - 0.5);
    end.xy += off * 2.0 * width * ratio / size * end.w;
    gl_Position = end;
  }`;

const FRAGMENT = /* glsl */ `
  uniform vec3 color;
  void main() {
    gl_FragColor = vec4(color, 1.0);
    #include <colorspace_fragment>
  }`;

/** Size of the canvas [device px] and of a CSS pixel, shared by all lines and hatches of a view. */
export function screenOf() {
  return { size: { value: new THREE.Vector2(1, 1) }, ratio: { value: 1 } };
}

export function lineMaterial(screen, colour, width) {
  return new THREE.ShaderMaterial({
    vertexShader: VERTEX,
    fragmentShader: FRAGMENT,
    uniforms: { color: { value: new THREE.Color(colour) }, width: { value: width }, size: screen.size, ratio: screen.ratio },
    side: THREE.DoubleSide,
  });
}

/** A mesh of lines from coordinates [x, y, z, x, y, z, …], two points a line. */
export function lines(coordinates, material) {
  const pairs = new THREE.InstancedInterleavedBuffer(new Float32Array(coordinates), 6, 1);
  const geometry = new THREE.InstancedBufferGeometry();
  geometry.setAttribute("position", new THREE.Float32BufferAttribute([-0.5, 0, 0, 0.5, 0, 0, -0.5, 1, 0, 0.5, 1, 0], 3));
  geometry.setIndex([0, 1, 2, 2, 1, 3]);
  geometry.setAttribute("lineStart", new THREE.InterleavedBufferAttribute(pairs, 3, 0));
  geometry.setAttribute("lineEnd", new THREE.InterleavedBufferAttribute(pairs, 3, 3));
  geometry.instanceCount = coordinates.length / 6;
  const mesh = new THREE.Mesh(geometry, material);
  mesh.frustumCulled = false;
  return mesh;
}

/** The sharp edges of a geometry as lines. */
export function edgesOf(geometry, material) {
  const edges = new THREE.EdgesGeometry(geometry, 32);
  const mesh = lines(edges.attributes.position.array, material);
  edges.dispose();
  return mesh;
}

/** Lambert shading with stripes across the screen, for what must be seen as struck even without colours. */
export function hatched(screen, colour, under, options = {}) {
  const material = new THREE.MeshLambertMaterial({ color: colour, ...options });
  const stripe = { value: new THREE.Color(under) };
  material.onBeforeCompile = (shader) => {
    shader.uniforms.stripe = stripe;
    shader.uniforms.ratio = screen.ratio;
    shader.fragmentShader = shader.fragmentShader
      .replace("void main() {", "uniform vec3 stripe;\nuniform float ratio;\nvoid main() {")
      .replace(
        "#include <color_fragment>",
        `#include <color_fragment>
        float across = mod((gl_FragCoord.x + gl_FragCoord.y) / ratio, 16.0);
        diffuseColor.rgb = mix(diffuseColor.rgb, stripe, smoothstep(8.2, 9.2, across) * (1.0 - smoothstep(15.0, 16.0, across)));`,
      );
  };
  return material;
}
