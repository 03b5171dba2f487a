// From the text in the page to plain objects and typed arrays.

const FAR = 1e4;
const NOTHING_NEAR = 32767;

export function readScene(id) {
  return JSON.parse(document.getElementById(id).textContent);
}

// Base64 -> bytes.
export function bytesOf(text) {
  return Uint8Array.from(atob(text.trim()), (letter) => letter.charCodeAt(0));
}

// Deflated bytes -> ArrayBuffer.
export async function inflate(packed) {
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).arrayBuffer();
}

// Records of shapes and their bytes -> arrays. Channels stand one after the other, each for all shapes in
// turn: so they are small once deflated. Coordinates count steps of 1/65535 of the shape's largest side.
export function unpack(records, buffer) {
  let at = 0;
  const take = (Kind, count) => {
    const made = new Kind(buffer.slice(at, at + count * Kind.BYTES_PER_ELEMENT));
    at += count * Kind.BYTES_PER_ELEMENT;
    return made;
  };
  const total = (key) => records.reduce((sum, record) => sum + record[key], 0);
  const count = { points: total("points"), edges: total("edges"), bends: total("bends") };
  const triangles = take(Int32Array, total("triangles") * 3);
  const places = [0, 1, 2].map(() => take(Uint16Array, count.points));
  const values = take(Int16Array, count.points);
  const edges = [...Array(6)].map(() => take(Uint16Array, count.edges));
  const bends = [...Array(6)].map(() => take(Uint16Array, count.bends));
  const normals = [0, 1, 2].map(() => take(Int8Array, count.points));
  const sides = [...Array(6)].map(() => take(Int8Array, count.bends));
  const from = { points: 0, triangles: 0, edges: 0, bends: 0 };
  return records.map((record) => {
    const found = {
      triangles: summed(triangles.subarray(from.triangles * 3, (from.triangles + record.triangles) * 3)),
      points: woven(places, from.points, record.points, record),
      normals: woven(normals, from.points, record.points, null),
      values: distances(values.subarray(from.points, from.points + record.points)),
      edges: woven(edges, from.edges, record.edges, record),
      bends: woven(bends, from.bends, record.bends, record),
      sides: woven(sides, from.bends, record.bends, null),
    };
    for (const key of Object.keys(from)) from[key] += record[key];
    return found;
  });
}

// Distances in hundredths of a millimetre -> mm.
export function distances(packed) {
  return Float32Array.from(packed, (value) => (value === NOTHING_NEAR ? FAR : value / 100));
}

function summed(differences) {
  const found = new Uint32Array(differences.length);
  let last = 0;
  for (let k = 0; k < found.length; k++) found[k] = last += differences[k];
  return found;
}

function woven(channels, start, count, record) {
  const width = channels.length;
  const found = record ? new Float32Array(count * width) : new Int8Array(count * width);
  for (let channel = 0; channel < width; channel++) {
    const given = channels[channel];
    const low = record ? record.low[channel % 3] : 0;
    const step = record ? record.step : 1;
    for (let k = 0; k < count; k++) found[k * width + channel] = low + step * given[start + k];
  }
  return found;
}
