// How surfaces and lines are painted: bands of clearance, verdicts, what a solid is; all cut by one plane.
import { Color, DoubleSide, ShaderMaterial, Vector2, Vector3, Vector4 } from "three";

// As in the pictures: bright and matt, so that a colour reads as the legend shows it.
const LIGHT = "0.72 + 0.33 * abs(dot(normalize(vNormal), towards))";
export const MODES = { clearance: 0, verdict: 1, role: 2 };

// What all materials share; changed in one place, seen by all.
export const shared = {
  cut: { value: new Vector4(0, 0, 0, 1) },
  towards: { value: new Vector3(0, -1, 0) },
  mode: { value: 0 },
  edges: { value: new Vector4(1, 2, 5, 10) },
  palette: { value: [...Array(6)].map(() => new Vector3()) },
  size: { value: new Vector2(1, 1) },
};

export function setBands(bands) {
  shared.edges.value.set(...bands.edges);
  bands.colours.forEach((colour, k) => shared.palette.value[k].copy(vector(colour)));
}

// "#RRGGBB" as it stands: what is painted is what the legend shows.
export function vector(colour) {
  const { r, g, b } = new Color().setStyle(colour, "srgb-linear");
  return new Vector3(r, g, b);
}

const BAND = `
uniform vec4 edges; uniform vec3 palette[6];
vec3 band(float d) {
  if (d < -0.01) return palette[0];
  if (d < edges.x) return palette[1];
  if (d < edges.y) return palette[2];
  if (d < edges.z) return palette[3];
  if (d < edges.w) return palette[4];
  return palette[5];
}`;

// Places are asked at a covered sample (`centroid`): carried on beyond the rim of a surface that is seen edge-on,
// they would lie on the wrong side of a cut.
const SURFACE_VERTEX = `
attribute float value;
centroid varying vec3 vWorld; varying vec3 vNormal; varying float vValue;
void main() {
  vec4 world = modelMatrix * vec4(position, 1.0);
  vWorld = world.xyz; vNormal = mat3(modelMatrix) * normal; vValue = value;
  gl_Position = projectionMatrix * viewMatrix * world;
}`;

const SURFACE_FRAGMENT = `
uniform vec4 cut; uniform vec3 towards; uniform int mode; uniform vec3 role; uniform vec3 verdict;
uniform float opacity; uniform bool hatched; uniform bool faded;
centroid varying vec3 vWorld; varying vec3 vNormal; varying float vValue;
${BAND}
void main() {
  if (dot(cut.xyz, vWorld) + cut.w < 0.0) discard;
  vec3 paint = faded ? vec3(0.5, 0.53, 0.56) : mode == 0 ? band(vValue) : mode == 1 ? verdict : role;
  if (mode == 1 && hatched && !faded && mod(gl_FragCoord.x + gl_FragCoord.y, 9.0) < 3.0) paint = mix(paint, vec3(1.0), 0.55);
  gl_FragColor = vec4(min(paint * (${LIGHT}), 1.0), opacity);
}`;

export function surface(role, verdict, hatched) {
  return new ShaderMaterial({
    vertexShader: SURFACE_VERTEX,
    fragmentShader: SURFACE_FRAGMENT,
    uniforms: {
      ...shared,
      role: { value: role },
      verdict: { value: verdict },
      hatched: { value: hatched },
      opacity: { value: 1 },
      faded: { value: false },
    },
    side: DoubleSide,
    polygonOffset: true,
    polygonOffsetFactor: 1,
    polygonOffsetUnits: 1,
  });
}

// Counts, by what lies behind the cut, whether a place of it is inside a solid: nothing is painted.
export function counting(side, operation) {
  return new ShaderMaterial({
    vertexShader: SURFACE_VERTEX,
    fragmentShader: `uniform vec4 cut; centroid varying vec3 vWorld;
      void main() { if (dot(cut.xyz, vWorld) + cut.w < 0.0) discard; gl_FragColor = vec4(1.0); }`,
    uniforms: shared,
    side,
    colorWrite: false,
    depthWrite: false,
    depthTest: false,
    stencilWrite: true,
    stencilFail: operation,
    stencilZFail: operation,
    stencilZPass: operation,
  });
}

export function flat(colour) {
  return new ShaderMaterial({
    vertexShader: "void main() { gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }",
    fragmentShader: "uniform vec3 colour; void main() { gl_FragColor = vec4(colour, 1.0); }",
    uniforms: { colour: { value: colour } },
    side: DoubleSide,
  });
}

// Creases are always drawn; edges within a round surface only where it turns out of sight.
export function strokes(colour, opacity, round) {
  return new ShaderMaterial({
    vertexShader: `
      ${round ? "attribute vec3 one; attribute vec3 two;" : ""}
      uniform vec3 towards; centroid varying vec3 vWorld;
      void main() {
        vec4 world = modelMatrix * vec4(position, 1.0);
        vWorld = world.xyz;
        gl_Position = projectionMatrix * viewMatrix * world;
        ${round ? `mat3 turned = mat3(modelMatrix);
        bool front = dot(turned * one, towards) > 0.0, other = dot(turned * two, towards) > 0.0;
        if (front == other) gl_Position = vec4(2.0, 2.0, 2.0, 1.0);` : ""}
      }`,
    fragmentShader: `uniform vec4 cut; uniform vec3 colour; uniform float opacity; centroid varying vec3 vWorld;
      void main() { if (dot(cut.xyz, vWorld) + cut.w < 0.0) discard; gl_FragColor = vec4(colour, opacity); }`,
    uniforms: { ...shared, colour: { value: vector(colour) }, opacity: { value: opacity } },
    transparent: opacity < 1,
    depthWrite: opacity === 1,
  });
}

// Lines of a width in pixels, each a thin rectangle; coloured by distance, thin and dark where nothing is near.
export function wideStrokes(width, thin) {
  return new ShaderMaterial({
    vertexShader: `
      attribute vec3 other; attribute float side; attribute float value;
      uniform vec2 size; uniform vec4 edges; uniform float width; uniform float thin; varying float vValue;
      void main() {
        vec4 here = projectionMatrix * viewMatrix * vec4(position, 1.0);
        vec4 there = projectionMatrix * viewMatrix * vec4(other, 1.0);
        vec2 way = (there.xy - here.xy) * size;
        way = length(way) > 1e-6 ? normalize(way) : vec2(1.0, 0.0);
        vec2 across = vec2(-way.y, way.x) * side - way * 0.5;
        float wide = value >= edges.w ? thin : width;
        gl_Position = here + vec4(across * wide / size, -2e-4, 0.0);
        vValue = value;
      }`,
    fragmentShader: `varying float vValue; ${BAND}
      void main() { gl_FragColor = vec4(vValue >= edges.w ? vec3(0.17, 0.19, 0.21) : band(vValue), 1.0); }`,
    uniforms: { ...shared, width: { value: width }, thin: { value: thin } },
    side: DoubleSide,
  });
}
