// Labels that keep their size on the screen, drawn on a canvas with the browser's own fonts. None is wider than the view:
// a long text is shortened, and a label at the view's edge moves inward.

import { THREE } from "nicegui-scene";

const FONT = "600 48px system-ui, 'Segoe UI', Roboto, 'Noto Sans', 'DejaVu Sans', sans-serif";
const HEIGHT = 80; // of the drawn label [canvas px]
const ROOM = 44; // beside the text, both sides together [canvas px]
const EDGE = 6; // between a label and the view's edge [CSS px]

/** A label on a plate: shape "pill", "round" or "square"; pixels: its height on the screen [CSS px]. */
export function label(text, { paper, ink, rim = null, shape = "pill", pixels = 30 }) {
  const material = new THREE.SpriteMaterial({ depthTest: false, depthWrite: false, sizeAttenuation: false });
  const sprite = new THREE.Sprite(material);
  sprite.renderOrder = 20;
  sprite.userData = { text, pixels, look: { paper, ink, rim, shape }, edge: [0, 0] };
  sprite.onBeforeRender = (_renderer, _scene, camera) => keepInside(sprite, camera);
  write(sprite, Infinity);
  return sprite;
}

/** Give every label below an object its size for a view so wide and high [CSS px] with such an angle of view [rad]. */
export function fitLabels(object, width, height, angle) {
  const unit = (2 * Math.tan(angle / 2)) / Math.max(1, height);
  object.traverse((sprite) => {
    const { pixels, natural, room, edge } = sprite.userData;
    if (!sprite.isSprite || !pixels) {
      return;
    }
    const widest = Math.max(HEIGHT, ((width - 2 * EDGE) * HEIGHT) / pixels);
    if (Math.min(widest, natural) !== Math.min(room, natural)) {
      write(sprite, widest);
    }
    edge[0] = (2 * EDGE) / width;
    edge[1] = (2 * EDGE) / height;
    sprite.scale.set(pixels * sprite.userData.ratio * unit, pixels * unit, 1);
  });
}

/** Draw the text of a label, in a room so wide [canvas px]. */
function write(sprite, room) {
  const { text, look } = sprite.userData;
  const canvas = document.createElement("canvas");
  const context = canvas.getContext("2d");
  context.font = FONT;
  const natural = look.shape === "pill" ? Math.ceil(context.measureText(text).width) + ROOM : HEIGHT;
  const said = natural > room ? shortened(text, (some) => context.measureText(some).width + ROOM <= room) : text;
  const wide = natural > room ? Math.ceil(context.measureText(said).width) + ROOM : natural;
  canvas.width = wide;
  canvas.height = HEIGHT;
  paint(canvas, said, look);
  sprite.material.map?.dispose();
  sprite.material.map = textureOf(canvas);
  Object.assign(sprite.userData, { natural, room, said, ratio: wide / HEIGHT });
}

function paint(canvas, said, { paper, ink, rim, shape }) {
  const context = canvas.getContext("2d");
  context.font = FONT;
  context.beginPath();
  const radius = { pill: 16, round: HEIGHT / 2 - 4, square: 4 }[shape];
  context.roundRect(4, 4, canvas.width - 8, HEIGHT - 8, radius);
  context.fillStyle = paper;
  context.fill();
  if (rim) {
    context.lineWidth = 6;
    context.strokeStyle = rim;
    context.stroke();
  }
  context.fillStyle = ink;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.fillText(said, canvas.width / 2, HEIGHT / 2 + 3);
}

/** The longest beginning of a text, with an ellipsis, that fits. */
function shortened(text, fits) {
  const letters = [...text];
  let [low, high] = [0, letters.length - 1];
  const first = (count) => `${letters.slice(0, count).join("").trimEnd()}…`;
  while (low < high) {
    const middle = Math.ceil((low + high) / 2);
    [low, high] = fits(first(middle)) ? [middle, high] : [low, middle - 1];
  }
  return first(low);
}

/** Move a label whose place is in the picture so far inward that all of it is. */
function keepInside(sprite, camera) {
  const { edge } = sprite.userData;
  sprite.userData.centre ??= sprite.center.clone(); // as it was put
  const { centre } = sprite.userData;
  sprite.center.copy(centre);
  const at = new THREE.Vector3().setFromMatrixPosition(sprite.matrixWorld).project(camera);
  if (Math.max(Math.abs(at.x), Math.abs(at.y), Math.abs(at.z)) > 1) {
    return;
  }
  const scale = camera.projectionMatrix.elements;
  sprite.center.x = moved(centre.x, at.x, sprite.scale.x * scale[0], edge[0]);
  sprite.center.y = moved(centre.y, at.y, sprite.scale.y * scale[5], edge[1]);
}

/** Where a label so long [of the view's −1 … 1] has its place, 0 … 1 of its length: as put, or as the edges allow. */
function moved(centre, at, long, edge) {
  const [least, most] = [1 - (1 - edge - at) / long, (at + 1 - edge) / long];
  return Math.max(least, Math.min(most, centre));
}

function textureOf(canvas) {
  const texture = new THREE.CanvasTexture(canvas);
  texture.colorSpace = THREE.SRGBColorSpace;
  texture.anisotropy = 4;
  return texture;
}
