// Labels that keep their size on the screen, drawn on a canvas with the browser's own fonts.

import { THREE } from "nicegui-scene";

const FONT = "600 48px system-ui, 'Segoe UI', Roboto, 'Noto Sans', 'DejaVu Sans', sans-serif";
const HEIGHT = 80; // of the drawn label [canvas px]

/** A label on a plate: shape "pill", "round" or "square"; pixels: its height on the screen [CSS px]. */
export function label(text, { paper, ink, rim = null, shape = "pill", pixels = 30 }) {
  const canvas = document.createElement("canvas");
  const context = canvas.getContext("2d");
  context.font = FONT;
  const wide = shape === "pill" ? Math.ceil(context.measureText(text).width) + 44 : HEIGHT;
  canvas.width = wide;
  canvas.height = HEIGHT;
  context.font = FONT;
  context.beginPath();
  const radius = { pill: 16, round: HEIGHT / 2 - 4, square: 4 }[shape];
  context.roundRect(4, 4, wide - 8, HEIGHT - 8, radius);
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
  context.fillText(text, wide / 2, HEIGHT / 2 + 3);
  const map = textureOf(canvas);
  const material = new THREE.SpriteMaterial({ map, depthTest: false, depthWrite: false, sizeAttenuation: false });
  const sprite = new THREE.Sprite(material);
  sprite.renderOrder = 20;
  sprite.userData = { pixels, ratio: wide / HEIGHT };
  return sprite;
}

/** Give every label below an object its size for a view so high [CSS px] with such an angle of view [rad]. */
export function sizeLabels(object, height, angle) {
  const unit = (2 * Math.tan(angle / 2)) / Math.max(1, height);
  object.traverse((found) => {
    const { pixels, ratio } = found.userData;
    if (found.isSprite && pixels) {
      found.scale.set(pixels * ratio * unit, pixels * unit, 1);
    }
  });
}

function textureOf(canvas) {
  const texture = new THREE.CanvasTexture(canvas);
  texture.colorSpace = THREE.SRGBColorSpace;
  texture.anisotropy = 4;
  return texture;
}
