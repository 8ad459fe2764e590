// The live picture of hung cloth: WebGL2, nothing from the network, fed with bytes from Python.
//
// The same sums as weavecolor/picture/{sweep,lookup,raster,threads,hanging}.py, which say why. Places and
// bodies come once in one parcel ("stage"), look-up tables in one a kind of laid cloth ("cloth"), and
// what else a light is in another ("light"), whenever any of them changes; turn and zoom stay. Frames
// wait on the graphics fence, and the resolution follows what the machine can do.

const COMMON = globalThis.__hungCloth ??= { sights: new Map(), parts: { stage: new Map(), cloth: new Map() }, views: new Map() };
const KEPT = { stage: 6, cloth: 24 };   // parcels of each sort
const TYPES = { f4: Float32Array, f2: Uint16Array, u1: Uint8Array, i2: Int16Array, i4: Int32Array };
const GRID = 288, READ = 0.8, SLOPED = 2, STEEPEST = 5, OPAQUE = 60, SOFT = 12, STILL = 16, STILL_SLOW = 4;

/** A parcel: eight bytes, length of the header, header in JSON, arrays each on a multiple of 8. */
export function unpacked(bytes) {
  if (!(bytes instanceof Uint8Array)) bytes = new Uint8Array(bytes);
  const whole = bytes.slice().buffer;
  const length = new DataView(whole).getUint32(8, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(whole, 12, length)));
  const start = Math.ceil((12 + length) / 8) * 8;
  for (const a of head.arrays) {
    const count = a.shape.reduce((x, y) => x * y, 1);
    head[a.name] = new TYPES[a.type](whole, start + a.at, count);
    head[a.name].shape = a.shape;
  }
  return head;
}

// --- sums on the processor: rotation, order, light ---

export function rotation(turn, tilt) {
  const t = turn * Math.PI / 180, e = tilt * Math.PI / 180;
  const c = Math.cos(t), s = Math.sin(t), k = Math.cos(e), d = Math.sin(e);
  // lean @ level @ about; rows are the view's right, up and towards the eye
  return [-c, s, 0, -d * s, -d * c, k, k * s, k * c, d];
}

function turnedBy(m, points, out) {
  for (let i = 0; i < points.length; i += 3) {
    const x = points[i], y = points[i + 1], z = points[i + 2];
    out[i] = m[0] * x + m[1] * y + m[2] * z;
    out[i + 1] = m[3] * x + m[4] * y + m[5] * z;
    out[i + 2] = m[6] * x + m[7] * y + m[8] * z;
  }
  return out;
}

/** Numbers 0..n-1 in rising order of values, by 16-bit radix. */
function sorted(values, n, out, falling = false) {
  let low = Infinity, high = -Infinity;
  for (let i = 0; i < n; i++) { if (values[i] < low) low = values[i]; if (values[i] > high) high = values[i]; }
  const scale = 65535 / Math.max(high - low, 1e-9), count = new Uint32Array(65537);
  const place = new Uint16Array(n);
  for (let i = 0; i < n; i++) {
    const v = (values[i] - low) * scale | 0;
    place[i] = falling ? 65535 - v : v;
    count[place[i] + 1]++;
  }
  for (let i = 0; i < 65536; i++) count[i + 1] += count[i];
  for (let i = 0; i < n; i++) out[count[place[i]]++] = i;
  return out;
}

function axes(d) {
  const n = Math.hypot(...d), a = d.map(x => x / n);
  const h = Math.abs(a[1]) < 0.9 ? [0, 1, 0] : [1, 0, 0];
  let r = [h[1] * a[2] - h[2] * a[1], h[2] * a[0] - h[0] * a[2], h[0] * a[1] - h[1] * a[0]];
  const l = Math.hypot(...r); r = r.map(x => x / l);
  return [...r, a[1] * r[2] - a[2] * r[1], a[2] * r[0] - a[0] * r[2], a[0] * r[1] - a[1] * r[0], ...a];
}

function softDirection(direction, half, k, count) {
  const radius = Math.sin(half * Math.PI / 180) * Math.sqrt((k + 0.5) / count);
  const angle = k * Math.PI * (3 - Math.sqrt(5)), m = axes(direction);
  const u = radius * Math.cos(angle), v = radius * Math.sin(angle);
  const out = [0, 1, 2].map(i => m[6 + i] + u * m[i] + v * m[3 + i]);
  const n = Math.hypot(...out);
  return out.map(x => x / n);
}

/** One sweep of a light through everything: e to the minus what was taken before each place. */
class Sweep {
  constructor(stage) {
    this.quads = stage.faces; this.kind = stage.face_kind; this.lift = stage.lift; this.facing = stage.facing;
    this.clothPoints = stage.points.length / 3; this.corners = stage.cornerCount;
    this.count = stage.placeCount;
    this.seen = new Float32Array(3 * this.count);
    this.ahead = new Float32Array(this.quads.length / 4);
    this.take = new Float32Array(this.ahead.length * 3);
    this.order = new Uint32Array(this.ahead.length);
    this.turn = new Uint32Array(this.count);
    this.near = new Float32Array(this.count);
    this.out = new Float32Array(3 * this.count);
  }

  /** ``own``: the direction in the stage's own frame. */
  run(points, dim, direction, own) {
    const { quads, kind, seen, ahead, take, facing } = this, faces = ahead.length;
    turnedBy(axes(direction), points, seen);
    let l = Infinity, r = -Infinity, b = Infinity, t = -Infinity;
    for (let i = 0; i < this.corners; i++) {
      const x = seen[3 * i], y = seen[3 * i + 1];
      if (x < l) l = x; if (x > r) r = x; if (y < b) b = y; if (y > t) t = y;
    }
    const scale = (GRID - 4) / Math.max(r - l, t - b, 1);
    const columns = Math.ceil((r - l) * scale) + 4, rows = Math.ceil((t - b) * scale) + 4;
    const left = l - 2 / scale, top = t + 2 / scale;
    const plane = new Float32Array(rows * columns * 3);
    for (let q = 0; q < faces; q++) {
      const i = 3 * quads[4 * q], j = 3 * quads[4 * q + 1], k = 3 * quads[4 * q + 2], m = 3 * quads[4 * q + 3];
      ahead[q] = 0.25 * (seen[i + 2] + seen[j + 2] + seen[k + 2] + seen[m + 2]);
      // the normal's cosine to the light, in the light's own frame
      const ax = seen[k] - seen[i], ay = seen[k + 1] - seen[i + 1], az = seen[k + 2] - seen[i + 2];
      const bx = seen[m] - seen[j], by = seen[m + 1] - seen[j + 1], bz = seen[m + 2] - seen[j + 2];
      const nx = ay * bz - az * by, ny = az * bx - ax * bz, nz = ax * by - ay * bx;
      const cosine = nz / (Math.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12);
      if (kind[q] < 0) { take[3 * q] = take[3 * q + 1] = take[3 * q + 2] = cosine < 0 ? OPAQUE : 0; continue; }
      const at = Math.abs(cosine) * 15, low = Math.min(at | 0, 14), f = at - low;
      for (let c = 0; c < 3; c++) {
        const d = (kind[q] * 16 + low) * 3 + c;
        take[3 * q + c] = -Math.log(Math.max(dim[d] * (1 - f) + dim[d + 3] * f, 1e-4));
      }
    }
    sorted(ahead, faces, this.order, true);
    for (let i = 0; i < this.count; i++) {   // aslant to the light they are read nearer to it
      const cosine = Math.min(Math.abs(facing[3 * i] * own[0] + facing[3 * i + 1] * own[1] + facing[3 * i + 2] * own[2]), 1);
      this.near[i] = seen[3 * i + 2] + this.lift[i] + SLOPED / scale * Math.min(Math.sqrt(1 - cosine * cosine) / Math.max(cosine, 1e-9), STEEPEST);
    }
    sorted(this.near, this.count, this.turn, true);
    let done = 0;
    for (let n = 0; n < this.count; n++) {
      const p = this.turn[n];
      while (done < faces && ahead[this.order[done]] > this.near[p]) {
        const q = this.order[done++];
        if (take[3 * q] + take[3 * q + 1] + take[3 * q + 2] > 0) this.fill(plane, rows, columns, q, left, top, scale);
      }
      const px = (seen[3 * p] - left) * scale - 0.5, py = (top - seen[3 * p + 1]) * scale - 0.5;
      if (px <= 0 || py <= 0 || px >= columns - 1 || py >= rows - 1) {
        this.out[3 * p] = this.out[3 * p + 1] = this.out[3 * p + 2] = 1; continue;
      }
      const sum = [0, 0, 0];
      for (let tap = 0; tap < 4; tap++) {
        const qx = Math.min(Math.max(px + (tap % 2 - 0.5) * 2 * READ, 0), columns - 1.001);
        const qy = Math.min(Math.max(py + ((tap >> 1) - 0.5) * 2 * READ, 0), rows - 1.001);
        const x0 = qx | 0, y0 = qy | 0, fx = qx - x0, fy = qy - y0;
        for (let c = 0; c < 3; c++) {
          const o = (y0 * columns + x0) * 3 + c, d = o + columns * 3;
          sum[c] += 0.25 * Math.exp(-((plane[o] * (1 - fx) + plane[o + 3] * fx) * (1 - fy) + (plane[d] * (1 - fx) + plane[d + 3] * fx) * fy));
        }
      }
      for (let c = 0; c < 3; c++) this.out[3 * p + c] = sum[c];
    }
    return this.out;
  }

  fill(plane, rows, columns, q, left, top, scale) {
    const { quads, seen, take } = this, t0 = take[3 * q], t1 = take[3 * q + 1], t2 = take[3 * q + 2];
    const X = k => (seen[3 * quads[4 * q + k]] - left) * scale, Y = k => (top - seen[3 * quads[4 * q + k] + 1]) * scale;
    const ax = X(0), ay = Y(0), mx = X(2), my = Y(2);
    for (let half = 0; half < 2; half++) {
      let bx = half ? mx : X(1), by = half ? my : Y(1), cx = half ? X(3) : mx, cy = half ? Y(3) : my;
      const area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay);
      if (area === 0) continue;
      if (area < 0) { [bx, cx] = [cx, bx]; [by, cy] = [cy, by]; }
      const y0 = Math.max(Math.ceil(Math.min(ay, by, cy) - 0.5), 0), y1 = Math.min(Math.ceil(Math.max(ay, by, cy) - 0.5), rows);
      const x0 = Math.max(Math.ceil(Math.min(ax, bx, cx) - 0.5), 0), x1 = Math.min(Math.ceil(Math.max(ax, bx, cx) - 0.5), columns);
      for (let row = y0; row < y1; row++) {
        const py = row + 0.5;
        for (let column = x0; column < x1; column++) {
          const px = column + 0.5;
          const e0 = (bx - ax) * (py - ay) - (by - ay) * (px - ax);
          const e1 = (cx - bx) * (py - by) - (cy - by) * (px - bx);
          const e2 = (ax - cx) * (py - cy) - (ay - cy) * (px - cx);
          if ((e0 > 0 || (e0 === 0 && by - ay > 0)) && (e1 > 0 || (e1 === 0 && cy - by > 0)) && (e2 > 0 || (e2 === 0 && ay - cy > 0))) {
            const o = (row * columns + column) * 3;
            plane[o] += t0; plane[o + 1] += t1; plane[o + 2] += t2;
          }
        }
      }
    }
  }
}

// --- shaders ---

// as seen_from in hanging.py; the eye is so far away and so high
const SEEN = `vec3 seen(vec3 v) { float near = eye.x / (eye.x - v.z); return vec3(near * v.x, eye.y + near * (v.y - eye.y), v.z); }
`;
const BODY_VERTEX = `#version 300 es
uniform mat3 turn; uniform vec3 frame; uniform vec2 size; uniform vec2 jitter; uniform vec2 eye; uniform float flat_;
in vec3 point; in vec3 colour; out vec3 shade;
${SEEN}void main() {
  vec3 v = seen(turn * point);
  gl_Position = vec4(2.0 * (v.xy - frame.xy) / frame.z / size + jitter, flat_ > 0.5 ? 0.999 : -v.z / 4000.0, 1.0);
  shade = colour;
}`;
const BODY_FRAGMENT = `#version 300 es
precision highp float;
in vec3 shade;
layout(location = 0) out vec4 red; layout(location = 1) out vec4 green; layout(location = 2) out vec4 blue;
void main() { red = vec4(shade.r, 0, 0, 0); green = vec4(shade.g, 0, 0, 0); blue = vec4(shade.b, 0, 0, 0); }`;

const CLOTH_VERTEX = `#version 300 es
uniform mat3 turn; uniform vec3 frame; uniform vec2 size; uniform vec2 jitter; uniform vec2 eye; uniform float before; uniform float grains[12];
layout(location = 0) in vec3 point; layout(location = 1) in vec3 normal; layout(location = 2) in vec3 warp; layout(location = 3) in vec3 reach;
layout(location = 4) in vec4 open; layout(location = 5) in vec2 place; layout(location = 6) in float fold; layout(location = 7) in float kind;
uniform vec4 fallen[6];   // what falls from the lights on cloth about a place: before it and behind it, by channel
out vec3 vNormal; out vec3 vWarp; out vec3 vReach; out vec3 vBefore; out vec3 vBehind; out vec4 vOpen; out vec2 vPlace; out float vFold; flat out float vKind;
${SEEN}void main() {
  vec3 v = seen(turn * point);
  gl_Position = vec4(2.0 * (v.xy - frame.xy) / frame.z / size + jitter, -(v.z + before) / 4000.0, 1.0);
  float g = grains[int(kind + 0.5)], c = cos(g), s = sin(g);   // as the cloth lies
  vNormal = turn * normal; vWarp = turn * (c * warp + s * cross(normal, warp)); vReach = reach; vOpen = open;
  vec4 about = vec4(1.0, 0.001 * point);
  vBefore = max(vec3(dot(fallen[0], about), dot(fallen[1], about), dot(fallen[2], about)), 0.0);
  vBehind = max(vec3(dot(fallen[3], about), dot(fallen[4], about), dot(fallen[5], about)), 0.0);
  vPlace = vec2(c * place.x - s * place.y, s * place.x + c * place.y); vFold = fold; vKind = kind;
}`;
// graphics in software go through every line for every point, taken or not: threads only where they can be seen
const cloth_ = near => `#version 300 es
${near ? "#define NEAR" : ""}
precision highp float; precision highp int; precision highp sampler3D; precision highp sampler2DArray;
uniform sampler3D keys; uniform sampler2DArray rooms; uniform sampler2DArray glows;
uniform vec4 sizes;            // disc, turns + 1, sights, kinds
uniform float spans[12]; uniform vec3 lights[48]; uniform vec2 inside; uniform vec4 uneven[12]; uniform float lengths[12];
uniform float mmPixel; uniform float least; uniform float frontOnly;
uniform highp sampler2D weave; uniform vec3 lampWay[6]; uniform vec3 lampShine[6]; uniform int lampCount;
uniform vec4 nearness;         // half a light's width in degrees, pixels a thread: beginning, whole; how far threads lie off
in vec3 vNormal; in vec3 vWarp; in vec3 vReach; in vec3 vBefore; in vec3 vBehind; in vec4 vOpen; in vec2 vPlace; in float vFold; flat in float vKind;
layout(location = 0) out vec4 red; layout(location = 1) out vec4 green; layout(location = 2) out vec4 blue;

float hashed(int i, int j) {
  uint h = (uint(i) * 0x8DA6B343u) ^ (uint(j) * 0xD8163841u);
  h = (h ^ (h >> 15u)) * 0x2C1B3C6Du;
  h = (h ^ (h >> 12u)) * 0x297A2D39u;
  h = h ^ (h >> 15u);
  return float(h >> 8u) / 8388607.5 - 1.0;
}
float drift(float across, float along, float cell, float length_, int seed) {
  vec2 p = vec2(across / cell, along / length_), b = floor(p), f = p - b;
  f = f * f * (3.0 - 2.0 * f);
  int i = int(b.x), j = int(b.y) + seed * 7919;
  return 2.2 * mix(mix(hashed(i, j), hashed(i + 1, j), f.x), mix(hashed(i, j + 1), hashed(i + 1, j + 1), f.x), f.y);
}
float unevenness(vec2 uv, float step_, vec4 u, float length_) {
  float total = 0.0;
  for (int s = 0; s < 2; s++) {
    float spacing = s == 0 ? u.x : u.y, spread = s == 0 ? u.z : u.w;
    if (spread <= 0.0) continue;
    float across = s == 0 ? uv.x : uv.y, along = s == 0 ? uv.y : uv.x;
    float octave = max(log2(max(step_, 1e-6) / spacing), 0.0), low = floor(octave), rest = octave - low;
    float cell = spacing * exp2(low);
    total += 0.5 * spread * mix(drift(across, along, cell, length_, s) / sqrt(exp2(low)),
                                drift(across, along, 2.0 * cell, length_, s) / sqrt(exp2(low + 1.0)), rest);
  }
  return total;
}
#ifdef NEAR
// threads, as in threads.py; a layer's row of numbers is one line of the texture
const int WIDE = 6, HIGH = 8, SWING = 10, MANY = 12, COLOUR = 24, FALL = 36, LIFT = 68;
float g(int line, int i) { return texelFetch(weave, ivec2(i >> 2, line), 0)[i & 3]; }
vec3 tint(int line, int way, int s) { int i = COLOUR + 6 * way + 3 * s; return vec3(g(line, i), g(line, i + 1), g(line, i + 2)); }
int wrap(int k, int n) { return k - n * int(floor(float(k) / float(n))); }
vec2 axis_(int line, int s, int i, float along) {
  float pitch = g(line, 5 - s), t = along / pitch, k = floor(t), f = 3.14159265 * (t - k);
  int ends = int(g(line, 14) + 0.5), picks = int(g(line, 15) + 0.5), j = int(k);
  float a, b;
  if (s == 0) { int e = wrap(i, ends); a = g(line, LIFT + wrap(j, picks) * ends + e); b = g(line, LIFT + wrap(j + 1, picks) * ends + e); }
  else { int p = LIFT + wrap(i, picks) * ends; a = -g(line, p + wrap(j, ends)); b = -g(line, p + wrap(j + 1, ends)); }
  float swing = g(line, SWING + s), h = 0.5 * (a - b);
  return vec2(swing * (0.5 * (a + b) + h * cos(f)), -swing * h * sin(f) * 3.14159265 / pitch);
}
float swell(int i, float along, int seed) {
  float b = floor(along), f = along - b; f = f * f * (3.0 - 2.0 * f);
  int j = int(b) + seed * 7919;
  return mix(hashed(i, j), hashed(i, j + 1), f);
}
struct Met { int s; float h; int number; float along; float slope; float na; float nu; };
Met met(int line, vec2 at, vec2 m, float top) {
  Met r = Met(-1, 0.0, 0, 0.0, 0.0, 0.0, 1.0);
  float best = -1e9;
  for (int s = 0; s < 2; s++) {
    float p = s == 0 ? at.x : at.y, q = s == 0 ? at.y : at.x, c = s == 0 ? m.x : m.y, l = s == 0 ? m.y : m.x;
    float spacing = g(line, 4 + s);
    int i = int(floor(p / spacing + 0.5));
    vec2 z = axis_(line, s, i, q);
    i = int(floor((p + c * z.x) / spacing + 0.5)); z = axis_(line, s, i, q + l * z.x);
    float fat = 1.0 + 0.5 * g(line, 18 + s) * swell(i, q / g(line, 20), s);
    float a = g(line, WIDE + s) * fat, b = g(line, HIGH + s) * fat;
    float d = p + c * z.x - (float(i) + nearness.w * hashed(i, 31 + s)) * spacing, wide = sqrt(a * a + c * c * b * b);
    if (abs(d) >= wide) continue;
    float k = c * c / (a * a) + 1.0 / (b * b), under = c * c * d * d / (a * a * a * a) - k * (d * d / (a * a) - 1.0);
    float up = (-c * d / (a * a) + top * sqrt(max(under, 0.0))) / k;
    if (top * (z.x + up) > best) { best = top * (z.x + up); r = Met(s, d / wide, i, q + l * z.x, z.y, (d + c * up) / (a * a), up / (b * b)); }
  }
  return r;
}
float misses(vec3 e, vec3 l, int s, float slope) {
  float k = inversesqrt(1.0 + slope * slope);
  return degrees(abs(asin(clamp((e[1 - s] + slope * e.z) * k, -1.0, 1.0)) + asin(clamp((l[1 - s] + slope * l.z) * k, -1.0, 1.0))));
}
vec3 turned(int line, vec3 v) { float c = g(line, 0), s = g(line, 1), f = g(line, 2); return vec3(f * (c * v.x + s * v.y), c * v.y - s * v.x, f * v.z); }
vec2 leaning(vec3 e) {
  vec2 m = e.xy / (sign(e.z) * max(abs(e.z), 1e-3));
  float size = length(m);
  return size > 2.5 ? m * 2.5 / size : m;
}
void shared_(int first, int count, int way, vec2 weight[6], vec3 total, out vec3 warp, out vec3 weft) {
  vec3 bw = vec3(0), bf = vec3(0);
  for (int k = 0; k < count; k++) { bw += weight[k].x * tint(first + k, way, 0); bf += weight[k].y * tint(first + k, way, 1); }
  float ww = 1e-12 + dot(bw, bw), ff = 1e-12 + dot(bf, bf), wf = dot(bw, bf), tw = dot(total, bw), tf = dot(total, bf);
  float both = max(tw + tf, 0.0) / (ww + ff + 2.0 * wf), rw = tw - both * (ww + wf), rf = tf - both * (ff + wf);
  float one = 1.03 * ww, two = 1.03 * ff, det = one * two - wf * wf;
  float a = max(both + (rw * two - rf * wf) / det, 0.05 * both), b = max(both + (rf * one - rw * wf) / det, 0.05 * both);
  vec3 right = max(total, 0.0) / max(a * bw + b * bf, 1e-12);
  warp = a * right; weft = b * right;
}
float closely(int first, vec2 uv, vec2 du, vec2 dv, vec3 e, vec3 lamps[6], vec3 shine[6], vec3 back, vec3 on, float straight, out vec3 sent) {
  int count = 0;
  while (count < 6 && g(first + count, 4) > 0.0) count++;
  vec2 weight[6]; vec2 gloss[6]; float lit[72];
  float left = 1.0, index = g(first, 17), base = pow((index - 1.0) / (index + 1.0), 2.0);
  float bright = 1.0 / (2.0 * (1.0 - cos(radians(nearness.x))));
  vec3 mean = vec3(0);
  for (int nth = 0; nth < count; nth++) {
    int k = e.z > 0.0 ? nth : count - 1 - nth, line = first + k;
    vec3 own = turned(line, e);
    vec2 m = leaning(own), cover;
    for (int s = 0; s < 2; s++) {
      float a = g(line, WIDE + s), b = g(line, HIGH + s), c = s == 0 ? m.x : m.y;
      cover[s] = min(2.0 * sqrt(a * a + c * c * b * b) / g(line, 4 + s), 1.0);
    }
    float whole = 1.0 - (1.0 - cover.x) * (1.0 - cover.y);
    for (int s = 0; s < 2; s++) {
      weight[k][s] = left * whole * cover[s] / (cover.x + cover.y);
      float steep = 3.14159265 * g(line, SWING + s) / g(line, 5 - s), total = 0.0;
      for (int n = 0; n < lampCount; n++) {
        int slot = 12 * k + 6 * s + n;
        lit[slot] = 0.0;
        vec3 to = turned(line, lamps[n]);
        if (to.z * own.z <= 0.0) continue;
        float got = 0.0;
        for (int step_ = 0; step_ < 5; step_++) {
          float lie = sin(0.2 * 3.14159265 * float(step_ - 2));
          float miss = misses(own, to, s, steep * lie);
          total += exp(-pow(miss / 25.0, 2.0)) / 5.0;
          got += radians(sqrt(max(nearness.x * nearness.x - miss * miss, 0.0))) / 5.0;
        }
        if (g(line, MANY + s) > 1.0) continue;
        float ea = own[s], la = to[s];
        float cosine = (ea * la + own.z * to.z) / sqrt((ea * ea + own.z * own.z) * (la * la + to.z * to.z) + 1e-12);
        float middle = 0.5 * (atan(ea, abs(own.z)) + atan(la, abs(to.z))), flat_ = g(line, WIDE + s) / g(line, HIGH + s);
        float t = tan(clamp(middle, -1.4, 1.4)), rate = flat_ * (1.0 + t * t) / (1.0 + flat_ * flat_ * t * t);
        got *= 0.5 * rate * cos(atan(flat_ * t)) * sqrt(max(0.5 + 0.5 * cosine, 0.0));
        lit[slot] = got;
        float grazing = 1.0 - sqrt(max(0.5 + 0.5 * dot(own, to), 0.0));
        mean += weight[k][s] * got * (base + (1.0 - base) * pow(grazing, 5.0)) * bright * shine[n];
      }
      gloss[k][s] = total;
    }
    left *= 1.0 - whole * (1.0 - g(line, 16));
  }
  vec3 rest = max(back - mean, 0.2 * back), more = (back - rest) / max(mean, 1e-9), aw, af, bw, bf;
  more *= step(1e-9, mean);
  shared_(first, count, 0, weight, rest, aw, af);
  shared_(first, count, 1, weight, on, bw, bf);
  sent = vec3(0);
  float through = 0.0;
  vec2 lean = leaning(e);
  for (int i = 0; i < 9; i++) {
    vec2 place = uv + du * float(i - 4) / 9.0 + dv * float(2 * i % 9 - 4) / 9.0;
    place.x = -place.x;
    float passed = 1.0;
    for (int nth = 0; nth < count; nth++) {
      int k = e.z > 0.0 ? nth : count - 1 - nth, line = first + k;
      vec3 own = turned(line, e);
      vec2 p = place + lean * g(line, 3);
      float c = g(line, 0), d = g(line, 1);
      p = vec2(g(line, 2) * (c * p.x + d * p.y) + 0.31 * float(k) * g(line, 4), c * p.y - d * p.x + 0.17 * float(k) * g(line, 5));
      Met r = met(line, p, leaning(own), own.z > 0.0 ? 1.0 : -1.0);
      if (r.s < 0) continue;
      int s = r.s, bin = min(int(abs(r.h) * 8.0), 7);
      float fall = g(line, FALL + 8 * s + bin), glow = g(line, FALL + 8 * (2 + s) + bin), many = g(line, MANY + s);
      if (many > 1.0) {
        float strand = min(1.5 * sqrt(many), 9.0), turn = r.along / g(line, 5 - s);
        fall *= 1.0 + 0.3 * hashed(r.number * 131 + int(floor(0.5 * (r.h + 1.0) * strand + 0.7 * turn)), int(floor(0.4 * turn)) + 57 * s);
        if (lampCount > 0) {
          float share = 0.0;
          for (int n = 0; n < lampCount; n++) {
            vec3 to = turned(line, lamps[n]);
            if (to.z * own.z > 0.0) share += exp(-pow(misses(own, to, s, r.slope) / 25.0, 2.0));
          }
          fall *= (0.6 * gloss[k][s] + 0.4 * share + 0.05) / (gloss[k][s] + 0.05);
        }
      }
      sent += passed * ((s == 0 ? aw : af) * tint(line, 0, s) * fall + (s == 0 ? bw : bf) * tint(line, 1, s) * glow);
      if (many <= 1.0) {
        float nl = -r.slope * r.nu;
        vec3 n_ = normalize(s == 0 ? vec3(r.na, nl, r.nu) : vec3(nl, r.na, r.nu));
        float cosine = dot(n_, own);
        for (int n = 0; n < lampCount; n++) {
          if (lit[12 * k + 6 * s + n] <= 0.0) continue;
          vec3 to = turned(line, lamps[n]);
          float away = degrees(acos(clamp(2.0 * cosine * dot(n_, to) - dot(own, to), -1.0, 1.0)));
          float soft = clamp((1.25 * nearness.x - away) / (0.5 * nearness.x), 0.0, 1.0);
          sent += passed * more * soft * (base + (1.0 - base) * pow(1.0 - clamp(cosine, 0.0, 1.0), 5.0)) * bright * shine[n];
        }
      }
      passed *= g(line, 16);
      if (passed < 0.01) break;
    }
    through += passed;
  }
  sent /= 9.0;
  return clamp(straight * through / (9.0 * max(left, 1e-3)), 0.0, 1.0);
}
#endif
void main() {
  int side = gl_FrontFacing ? 0 : 1;
  int kind = int(vKind + 0.5) + (vFold < 0.0 ? 1 : 0);
  vec3 n = normalize(side == 0 ? vNormal : -vNormal);
  if (n.z < least) n = vec3(n.xy * sqrt((1.0 - least * least) / max(dot(n.xy, n.xy), 1e-12)), least);
  vec3 w = normalize(vWarp - dot(vWarp, n) * n);
  vec2 near = side == 0 ? vOpen.xy : vOpen.zw, far = side == 0 ? vOpen.zw : vOpen.xy;
  float clothNear = max(1.0 - near.x - near.y, 0.0), clothFar = max(1.0 - far.x - far.y, 0.0);
  float more = 1.0 + unevenness(vPlace, mmPixel / max(n.z, 0.2), uneven[kind], lengths[kind]);
  float k = inversesqrt(1.0 + n.z);
  float s = dot(n.xy, w.xy) / (1.0 + n.z) + w.z;
  float t = atan(w.y - n.y * s, w.x - n.x * s) / spans[kind], whole = floor(t);
  t = (t - whole) * (sizes.y - 1.0);
  float slab = float(2 * kind + side);
  vec2 eye = vec2(w.z, n.x * w.y - n.y * w.x) * k;   // along the warp and across it
  vec2 about = spans[kind] < 4.0 && mod(whole, 2.0) != 0.0 ? -eye : eye;   // half a turn on
  vec3 key = texture(keys, vec3(((0.5 * about + 0.5) * (sizes.x - 1.0) + 0.5) / sizes.x,
                                (slab * sizes.y + t + 0.5) / (sizes.y * 2.0 * sizes.w))).rgb;
  vec2 p = (0.5 * eye + 0.5) * (sizes.z - 1.0);
  vec4 room = texture(rooms, vec3((p + 0.5) / sizes.z, slab));
  vec3 glow = texture(glows, vec3((p + 0.5) / sizes.z, slab)).rgb;
  vec3 level = lights[4 * kind], on_ = lights[4 * kind + 1], body = lights[4 * kind + 2], back_ = lights[4 * kind + 3];
  vec3 before = side == 0 ? vBefore : vBehind, behind = side == 0 ? vBehind : vBefore;
  vec3 back = key * vReach + room.rgb * (near.x + clothNear * (inside.x * on_ * (1.0 + inside.y * behind) + back_ * (inside.x + before)) + near.y * body);
  vec3 on = glow * level * (far.x + clothFar * (inside.x * on_ * (1.0 + inside.y * before) + back_ * (inside.x + behind))), sent = (back + on) * more;
  float straight = clamp(room.a, 0.0, 1.0), own = clamp(1.0 - (1.0 - straight) * more, 0.0, 1.0);
#ifdef NEAR
  int first = 6 * kind;
  float seen = mmPixel / max(n.z, 0.2), close = 0.0;
  vec2 du = dFdx(vPlace), dv = -dFdy(vPlace);   // rows of the picture run down
  if (g(first, 4) > 0.0) close = clamp((min(uneven[kind].x, uneven[kind].y) / max(seen, 1e-9) - nearness.y) / (nearness.z - nearness.y), 0.0, 1.0);
  if (close > 0.0) {
    float turn_ = side == 0 ? 1.0 : -1.0;
    vec3 b = cross(n, w), lamps[6], shine[6], drawn;
    for (int i = 0; i < lampCount; i++) {
      lamps[i] = vec3(-turn_ * dot(b, lampWay[i]), dot(w, lampWay[i]), turn_ * dot(n, lampWay[i]));
      shine[i] = lampShine[i] * vReach;
    }
    float open = closely(first, vPlace, du, dv, vec3(-turn_ * b.z, w.z, turn_ * n.z), lamps, shine, back, on, straight, drawn);
    own = mix(own, open, close); sent = mix(sent, drawn, close);
  }
#endif
  vec3 passed = clamp(own + glow * far.y, 0.0, 1.0) * (1.0 - frontOnly);
  red = vec4(sent.r, 0, 0, passed.r); green = vec4(sent.g, 0, 0, passed.g); blue = vec4(sent.b, 0, 0, passed.b);
}`;
const WHOLE_VERTEX = `#version 300 es
void main() { gl_Position = vec4(vec2(gl_VertexID == 1 ? 3 : -1, gl_VertexID == 2 ? 3 : -1), 0, 1); }`;
const GATHER_FRAGMENT = `#version 300 es
precision highp float; uniform sampler2D r, g, b; uniform float share; out vec4 colour;
void main() { ivec2 p = ivec2(gl_FragCoord.xy);
  colour = vec4(texelFetch(r, p, 0).r, texelFetch(g, p, 0).r, texelFetch(b, p, 0).r, share); }`;
const SHOW_FRAGMENT = `#version 300 es
precision highp float; uniform sampler2D gathered; uniform float exposure, shoulder; uniform vec3 luminance; uniform vec2 ratio;
out vec4 colour;
void main() {
  vec3 c = texture(gathered, gl_FragCoord.xy * ratio).rgb * exposure;
  float y = dot(c, luminance), room = 1.0 - shoulder;
  float past = min(y - shoulder, 2.0 * room);   // as eased in encode.py
  if (past > 0.0) c *= (shoulder + past * (1.0 - 0.25 * past / room)) / y;
  y = clamp(dot(c, luminance), 0.0, 1.0);
  float most = max(c.r, max(c.g, c.b)), least = min(c.r, min(c.g, c.b));
  float s = 1.0;   // towards the grey of the same luminance, just until the screen can show it
  if (most > 1.0) s = min(s, (1.0 - y) / max(most - y, 1e-6));
  if (least < 0.0) s = min(s, y / max(y - least, 1e-6));
  c = clamp(y + s * (c - y), 0.0, 1.0);
  colour = vec4(mix(12.92 * c, 1.055 * pow(max(c, 1e-6), vec3(1.0 / 2.4)) - 0.055, step(0.0031308, c)), 1.0);
}`;

// --- the view ---

/** Sights that views share by name: turn and tilt in degrees from how the place's viewer looks, zoom, and how far moved. */
function sightOf(name, first) {
  if (!COMMON.sights.has(name)) COMMON.sights.set(name, { turn: 0, tilt: 0, zoom: 1, right: 0, up: 0, ...first, ...remembered(name), views: new Set() });
  return COMMON.sights.get(name);
}

/** The sight as this browser had it last, so that a reload shows the same. */
function remembered(name) {
  try {
    const kept = JSON.parse(localStorage.getItem(`weavecolor-sight-${name}`)) || {};
    return Object.fromEntries(["turn", "tilt", "zoom", "right", "up"].filter(k => Number.isFinite(kept[k])).map(k => [k, kept[k]]));
  } catch { return {}; }
}

function remember(name, { turn, tilt, zoom, right, up }) {
  if (name === "new") return;
  try { localStorage.setItem(`weavecolor-sight-${name}`, JSON.stringify({ turn, tilt, zoom, right, up })); } catch { /* kept in the page alone */ }
}

/** The picture as it settled last, with what it is of: shown at the next start until the graphics are ready. */
const LAST = "weavecolor-last-picture";
const seenAs = (light, s) => JSON.stringify([light.id, light.ground, light.exposure, s.turn, s.tilt, s.zoom, s.right, s.up]);

function keepLast(view) {
  try {
    const of = seenAs(view.light, view.sight);
    if (JSON.parse(localStorage.getItem(LAST))?.of === of) return;
    localStorage.setItem(LAST, JSON.stringify({ of, url: view.canvas.toDataURL("image/webp", 0.85) }));
  } catch { /* it is waited for */ }
}

function last(light) {
  try {
    const kept = JSON.parse(localStorage.getItem(LAST));
    return kept.of === seenAs(light, sightOf(light.share, light.sight)) ? kept.url : "";
  } catch { return ""; }
}

export class View {
  constructor(canvas, share = "all", first = {}) {
    this.canvas = canvas;
    this.share = share;
    this.sight = sightOf(share, first);
    this.sight.views.add(this);
    this.scale = 0.5; this.frames = []; this.waiting = false;
    this.patience = 300; this.slow = false;   // ms: where a whole frame takes longer, fewer make the still
    this.still = this.asked = 0;
    this.pressed = null; this.stops = []; this.graphics();
    this.hands();
    this.watch = new ResizeObserver(() => this.moved(false));
    this.watch.observe(canvas);
  }

  static possible() {
    try {
      const gl = document.createElement("canvas").getContext("webgl2");
      const able = !!gl && !!gl.getExtension("EXT_color_buffer_float") && gl.getParameter(gl.MAX_DRAW_BUFFERS) >= 3;
      gl?.getExtension("WEBGL_lose_context")?.loseContext();
      return able;
    } catch { return false; }
  }

  graphics() {
    const gl = this.gl = this.canvas.getContext("webgl2", { antialias: false, alpha: false, preserveDrawingBuffer: true });
    if (!gl || !gl.getExtension("EXT_color_buffer_float")) throw new Error("no graphics");
    gl.getExtension("OES_texture_float_linear"); gl.getExtension("EXT_float_blend");
    this.programs = {
      body: this.program(BODY_VERTEX, BODY_FRAGMENT), cloth: this.program(CLOTH_VERTEX, cloth_(false)),
      gather: this.program(WHOLE_VERTEX, GATHER_FRAGMENT), show: this.program(WHOLE_VERTEX, SHOW_FRAGMENT),
    };
    this.targets = null; this.buffers = {}; this.textures = {}; this.deep = ""; this.loaded = [];
  }

  /** Another name for what is looked at: a making that gets its name keeps its sight. */
  join(share) {
    if (share === this.share) return;
    const fresh = this.share === "new" ? {} : remembered(share);
    COMMON.sights.delete(this.share); COMMON.sights.set(share, this.sight);
    for (const v of this.sight.views) v.share = share;
    remember(share, { ...this.sight, ...fresh });
    // the same sight is not drawn again: a whole frame would hold up what the name came with
    if (Object.keys(fresh).every(k => fresh[k] === this.sight[k])) return;
    Object.assign(this.sight, fresh);
    this.moved(false);
  }

  program(vertex, fragment) {
    const gl = this.gl, made = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text); gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost()) throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(made, shader);
    }
    gl.linkProgram(made);
    if (!gl.getProgramParameter(made, gl.LINK_STATUS) && !gl.isContextLost()) throw new Error(gl.getProgramInfoLog(made));
    const at = {}, count = gl.getProgramParameter(made, gl.ACTIVE_UNIFORMS) || 0;
    for (let i = 0; i < count; i++) {
      const name = gl.getActiveUniform(made, i).name.replace("[0]", "");
      at[name] = gl.getUniformLocation(made, name);
    }
    return { made, at };
  }

  /** What is drawn: a stage, its light and the tables of its cloth, all unpacked parcels. */
  show(stage, light, cloths) {
    if (stage !== this.stage) {
      this.stage = stage;
      prepare(stage);
      this.sweep = new Sweep(stage);
      this.turned = new Float32Array(3 * stage.placeCount);
      this.reach = new Float32Array(3 * stage.placeCount).fill(1);
      this.order = new Uint32Array(stage.quads.length / 4);
      this.depth = new Float32Array(stage.quads.length / 4);
      this.index = new Uint32Array(stage.quads.length / 4 * 6);
      this.reachFor = null; this.way = "";
      this.placed = false;
    }
    if (light !== this.light) { joined(light, cloths); this.light = light; this.reachFor = null; this.lit = false; this.fresh = true; }
    this.moved(false, false, true);
  }

  load() {
    const gl = this.gl, s = this.stage, l = this.light;
    const buffer = (name, data, use = gl.STATIC_DRAW, kind = gl.ARRAY_BUFFER) => {
      gl.bindVertexArray(null);
      this.buffers[name] ??= gl.createBuffer();
      gl.bindBuffer(kind, this.buffers[name]); gl.bufferData(kind, data, use);
    };
    if (!this.placed) {
      for (const n of ["points", "normals", "warps", "opens", "places", "folds", "kinds", "body", "floor"]) buffer(n, s[n]);
      buffer("triangles", s.triangles, gl.STATIC_DRAW, gl.ELEMENT_ARRAY_BUFFER);
      buffer("tiles", s.tiles, gl.STATIC_DRAW, gl.ELEMENT_ARRAY_BUFFER);
      buffer("index", this.index, gl.DYNAMIC_DRAW, gl.ELEMENT_ARRAY_BUFFER);
      buffer("reach", this.reach.subarray(0, s.points.length), gl.DYNAMIC_DRAW);
      buffer("bodyColour", s.body, gl.DYNAMIC_DRAW); buffer("floorColour", s.floor, gl.DYNAMIC_DRAW);
      const array = (program, parts, elements) => {
        const made = gl.createVertexArray();
        gl.bindVertexArray(made);
        for (const [name, from, size, type, unit] of parts) {
          const at = gl.getAttribLocation(this.programs[program].made, name);
          if (at < 0) continue;
          gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers[from]);
          gl.enableVertexAttribArray(at); gl.vertexAttribPointer(at, size, type, unit, 0, 0);
        }
        gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, this.buffers[elements]);
        gl.bindVertexArray(null);
        return made;
      };
      const F = gl.FLOAT;
      this.arrays = {
        cloth: array("cloth", [["point", "points", 3, F, false], ["normal", "normals", 3, F, false],
          ["warp", "warps", 3, F, false], ["reach", "reach", 3, F, false], ["open", "opens", 4, F, false],
          ["place", "places", 2, F, false], ["fold", "folds", 1, F, false], ["kind", "kinds", 1, F, false]], "index"),
        body: array("body", [["point", "body", 3, F, false], ["colour", "bodyColour", 3, F, false]], "triangles"),
        floor: array("body", [["point", "floor", 3, F, false], ["colour", "floorColour", 3, F, false]], "tiles"),
      };
      this.placed = true;
    }
    if (!this.lit) {
      // of all that is laid, only what is new goes to the graphics
      const { turns, disc, sights } = l, kinds = l.cloths.length, rows = l.cloths[0].threads.shape;
      const tables = { keys: gl.TEXTURE_3D, rooms: gl.TEXTURE_2D_ARRAY, glows: gl.TEXTURE_2D_ARRAY, weave: gl.TEXTURE_2D };
      const deep = [kinds, turns, disc, sights].join();
      if (this.deep !== deep) {
        for (const [name, kind] of Object.entries(tables)) {
          gl.deleteTexture(this.textures[name] ?? null);
          this.textures[name] = gl.createTexture(); gl.bindTexture(kind, this.textures[name]);
          if (name === "keys") gl.texStorage3D(kind, 1, gl.RGB16F, disc, disc, turns * 2 * kinds);
          else if (name === "weave") gl.texStorage2D(kind, 1, gl.RGBA32F, rows[1] / 4, rows[0] * kinds);
          else gl.texStorage3D(kind, 1, gl.RGBA16F, sights, sights, 2 * kinds);
          for (const p of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T, gl.TEXTURE_WRAP_R]) gl.texParameteri(kind, p, gl.CLAMP_TO_EDGE);
          const near = name === "weave" ? gl.NEAREST : gl.LINEAR;
          gl.texParameteri(kind, gl.TEXTURE_MIN_FILTER, near); gl.texParameteri(kind, gl.TEXTURE_MAG_FILTER, near);
        }
        this.deep = deep; this.loaded = [];
      }
      gl.pixelStorei(gl.UNPACK_ALIGNMENT, 2);   // three half-floats a place
      l.cloths.forEach((x, k) => {
        if (this.loaded[k] === x.id) return;
        this.loaded[k] = x.id;
        const own = x.key.shape[1], side = x.key.length / 2;
        gl.bindTexture(gl.TEXTURE_3D, this.textures.keys);
        // among cloths that are whole turns, the second half turn of one has the disc turned about
        for (let first = 0; first < turns - 1; first += own - 1) for (let n = 0; n < 2; n++)
          gl.texSubImage3D(gl.TEXTURE_3D, 0, 0, 0, (2 * k + n) * turns + first, disc, disc, own, gl.RGB, gl.HALF_FLOAT,
                           (first ? turnedAbout : same => same)(x.key.subarray(n * side, (n + 1) * side), 3 * disc * disc));
        for (const [name, data] of [["rooms", x.room], ["glows", x.glow]]) {
          gl.bindTexture(gl.TEXTURE_2D_ARRAY, this.textures[name]);
          gl.texSubImage3D(gl.TEXTURE_2D_ARRAY, 0, 0, 0, 2 * k, sights, sights, 2, gl.RGBA, gl.HALF_FLOAT, data);
        }
        gl.bindTexture(gl.TEXTURE_2D, this.textures.weave);
        gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, rows[0] * k, rows[1] / 4, rows[0], gl.RGBA, gl.FLOAT, x.threads);
      });
      gl.pixelStorei(gl.UNPACK_ALIGNMENT, 4);
      try { gl.drawingBufferColorSpace = l.space === "Display P3" ? "display-p3" : "srgb"; } catch { /* sRGB only */ }
      this.lit = true;
    }
  }

  /** Whether what was swept is the shade of this light, too, as of a new grain or ground. A first look has the
      cloth itself where it is doubled, and keeps the shade of that: what is whole follows. */
  sameShade() {
    const { dim, plains, cloths } = this.light, first = plains.every((p, k) => cloths[k] === cloths[p]);
    return this.shade.length === dim.length && dim.every((x, i) => {
      const k = Math.floor(i / 48);
      return (first && plains[k] !== k) || Math.abs(x - this.shade[i]) < 0.01;   // a hem on the bias differs by less
    });
  }

  /** Light for the way it is turned now: sweep number ``k`` of SOFT, or all of them at once. */
  light_(m, first, count, fresh) {
    const s = this.stage, l = this.light, n = s.points.length / 3;
    turnedBy(m, s.everything, this.turned);
    const lamps = l.lamps, total = [0, 1, 2].map(c => lamps.reduce((a, x) => a + x.white[c], 0));
    const each = Math.max(1, Math.round(SOFT / Math.max(lamps.length, 1)));
    if (!this.sums || this.sums.length !== lamps.length || fresh) {
      this.sums = lamps.map(() => new Float32Array(3 * s.placeCount)); this.swept = 0;
    }
    for (let k = first; k < Math.min(first + count, each); k++) {
      lamps.forEach((lamp, i) => {
        const way = softDirection(lamp.direction, l.soft_deg, k, each), own = [0, 1, 2].map(c => m[c] * way[0] + m[3 + c] * way[1] + m[6 + c] * way[2]);
        const got = this.sweep.run(this.turned, this.shade, way, own), sum = this.sums[i];
        for (let j = 0; j < got.length; j++) sum[j] += got[j];
      });
      this.swept++;
    }
    const share = 1 / Math.max(this.swept, 1);
    for (let i = 0; i < n; i++) for (let c = 0; c < 3; c++) {
      let v = 1;
      for (let k = 0; k < lamps.length; k++) v += lamps[k].white[c] / Math.max(total[c], 1e-9) * (this.sums[k][3 * i + c] * share - 1);
      this.reach[3 * i + c] = v;
    }
    // what falls on the cloth about each place, as ``bounced`` in hanging.py
    const sums = new Float64Array(24), about = [1, 0, 0, 0], falls = new Float64Array(6), level = [0, 1, 2].map(c => l.light[c]);
    const ways = lamps.map(({ direction: d }) => [0, 1, 2].map(c => m[c] * d[0] + m[3 + c] * d[1] + m[6 + c] * d[2]));   // in the stage's own frame
    for (let i = 0; i < n; i++) {
      falls.fill(0);
      for (let k = 0; k < lamps.length; k++) {
        const w = ways[k], cosine = w[0] * s.normals[3 * i] + w[1] * s.normals[3 * i + 1] + w[2] * s.normals[3 * i + 2], side = cosine > 0 ? 0 : 3;
        for (let c = 0; c < 3; c++) falls[side + c] += Math.abs(cosine) * lamps[k].white[c] * this.reach[3 * i + c];
      }
      for (let a = 1; a < 4; a++) about[a] = 0.001 * s.points[3 * i + a - 1];
      for (let f = 0; f < 6; f++) for (let a = 0; a < 4; a++) sums[4 * f + a] += falls[f] * about[a];
    }
    const high = Math.max(...level);
    this.fallen = Float32Array.from({ length: 24 }, (_, j) => {
      const f = j >> 2, a = j & 3, over = level[f % 3];
      return over > 1e-3 * high ? (s.fit[4 * a] * sums[4 * f] + s.fit[4 * a + 1] * sums[4 * f + 1] + s.fit[4 * a + 2] * sums[4 * f + 2] + s.fit[4 * a + 3] * sums[4 * f + 3]) / over : 0;
    });
    // body and floor by their corners, as in hanging.py
    const b = s.body.length / 3, f = s.floor.length / 3, soft = l.soft_deg * Math.PI / 180, quarter = Math.PI / 2;
    this.bodyColour ??= new Float32Array(0);
    if (this.bodyColour.length !== 3 * b) this.bodyColour = new Float32Array(3 * b);
    const facing = [];
    for (let i = 0; i < b; i++) {
      const part = s.body_part[i], x = s.body_normals[3 * i], y = s.body_normals[3 * i + 1], z = s.body_normals[3 * i + 2];
      for (let k = 0; k < lamps.length; k++) {
        const [p, q, r] = ways[k], t = Math.acos(Math.min(1, Math.max(-1, p * x + q * y + r * z)));
        facing[k] = (Math.sin(Math.min(t + soft, quarter)) - Math.sin(Math.min(t - soft, quarter))) / (2 * Math.sin(soft));
      }
      for (let c = 0; c < 3; c++) {
        let sum = 0;
        for (let o = 0; o < 4; o++) sum += s.body_open[4 * i + o] * l.body_room[12 * part + 3 * o + c];
        for (let k = 0; k < lamps.length; k++) sum += facing[k] * this.sums[k][3 * (n + i) + c] * share * lamps[k].body[part][c];
        this.bodyColour[3 * i + c] = sum;
      }
    }
    if (!this.floorColour || this.floorColour.length !== 3 * f) this.floorColour = new Float32Array(3 * f);
    for (let i = 0; i < f; i++) {
      const fade = Math.min(1, Math.max(0, 2.5 * (1 - Math.hypot(s.floor[3 * i], s.floor[3 * i + 1]) / s.floor_mm)));
      for (let c = 0; c < 3; c++) {
        let sum = 0;
        for (let o = 0; o < 4; o++) sum += s.floor_open[4 * i + o] * l.floor_room[3 * o + c];
        if (lamps.length) {
          let lit = 0;
          for (let k = 0; k < lamps.length; k++) lit += lamps[k].white[c] * this.sums[k][3 * (n + b + i) + c] * share;
          sum = 0.5 * sum + 0.5 * lit / Math.max(total[c], 1e-9);
        }
        this.floorColour[3 * i + c] = l.ground[c] * (1 + fade * (sum - 1));
      }
    }
    return first + count >= each;
  }

  /** How far above the level it is looked at from, degrees: the place's viewer, and how it is tipped. */
  above() { return this.light.raised_deg + this.sight.tilt; }

  /** Middle and mm a pixel, as ``framing`` in hanging.py. */
  framing(width, height) {
    const v = this.stage.view, s = this.sight, e = this.above() * Math.PI / 180;
    const middle = 0.5 * (v.lowest + v.highest) * Math.cos(e);
    const tall = (v.highest - v.lowest) * Math.cos(e) + 0.6 * v.reach * Math.abs(Math.sin(e));
    const step = Math.max(tall / height, 2.16 * v.reach / width) / s.zoom;
    return [s.right * step * height, middle + s.up * step * height, step];
  }

  /** How far away the eye is and how high, as ``eye`` in hanging.py. */
  eye() {
    const { lowest, highest } = this.stage.view, [away, above] = this.light.eye;
    return [away, 0.5 * (lowest + highest) * Math.cos(this.above() * Math.PI / 180) + above];
  }

  /** Whether it looks down onto the floor. */
  overFloor(m) {
    const [away, up] = this.eye(), z = this.stage.floor[2];
    return -m[2] * m[2] * z + (up - m[5] * z) * m[5] + (away - m[8] * z) * m[8] > 0;
  }

  target(width, height) {
    const gl = this.gl;
    if (this.targets && this.targets.width === width && this.targets.height === height) return this.targets;
    if (this.targets) {
      this.targets.all.forEach(t => gl.deleteTexture(t)); gl.deleteRenderbuffer(this.targets.depth);
      gl.deleteFramebuffer(this.targets.layers); gl.deleteFramebuffer(this.targets.sum);
    }
    const texture = (format) => {
      const t = gl.createTexture();
      gl.bindTexture(gl.TEXTURE_2D, t); gl.texStorage2D(gl.TEXTURE_2D, 1, format, width, height);
      for (const p of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, p, gl.LINEAR);
      for (const p of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, p, gl.CLAMP_TO_EDGE);
      return t;
    };
    const colours = [0, 1, 2].map(() => texture(gl.R16F)), sum = texture(gl.RGBA16F);
    const depth = gl.createRenderbuffer();
    gl.bindRenderbuffer(gl.RENDERBUFFER, depth); gl.renderbufferStorage(gl.RENDERBUFFER, gl.DEPTH_COMPONENT24, width, height);
    const layers = gl.createFramebuffer(), total = gl.createFramebuffer();
    gl.bindFramebuffer(gl.FRAMEBUFFER, layers);
    colours.forEach((t, i) => gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0 + i, gl.TEXTURE_2D, t, 0));
    gl.framebufferRenderbuffer(gl.FRAMEBUFFER, gl.DEPTH_ATTACHMENT, gl.RENDERBUFFER, depth);
    gl.drawBuffers([0, 1, 2].map(i => gl.COLOR_ATTACHMENT0 + i));
    gl.bindFramebuffer(gl.FRAMEBUFFER, total);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, sum, 0);
    return this.targets = { width, height, colours, gathered: sum, all: [...colours, sum], depth, layers, sum: total };
  }

  /** Draw once: ``shift`` in pixels for clean edges, ``share`` of it in what is shown. */
  draw(width, height, shift, share) {
    const gl = this.gl, s = this.stage, l = this.light;
    this.load();
    const t = this.target(width, height), m = rotation(this.sight.turn, this.above());
    const [x, y, step] = this.framing(width, height);
    const columns = [m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8]];
    // farthest first
    const p = this.turned, q = s.quads, depth = this.depth;
    for (let i = 0; i < depth.length; i++)
      depth[i] = p[3 * q[4 * i] + 2] + p[3 * q[4 * i + 1] + 2] + p[3 * q[4 * i + 2] + 2] + p[3 * q[4 * i + 3] + 2];
    sorted(depth, depth.length, this.order);
    for (let i = 0, o = 0; i < this.order.length; i++) {
      const a = 4 * this.order[i];
      this.index[o++] = q[a]; this.index[o++] = q[a + 1]; this.index[o++] = q[a + 2];
      this.index[o++] = q[a]; this.index[o++] = q[a + 2]; this.index[o++] = q[a + 3];
    }
    gl.bindVertexArray(null);
    const fill = (kind, name, data) => { gl.bindBuffer(kind, this.buffers[name]); gl.bufferSubData(kind, 0, data); };
    fill(gl.ELEMENT_ARRAY_BUFFER, "index", this.index);
    fill(gl.ARRAY_BUFFER, "reach", this.reach.subarray(0, s.points.length));
    fill(gl.ARRAY_BUFFER, "bodyColour", this.bodyColour); fill(gl.ARRAY_BUFFER, "floorColour", this.floorColour);
    gl.bindFramebuffer(gl.FRAMEBUFFER, t.layers); gl.viewport(0, 0, width, height);
    gl.disable(gl.CULL_FACE); gl.disable(gl.BLEND); gl.enable(gl.DEPTH_TEST); gl.depthMask(true);
    for (let c = 0; c < 3; c++) gl.clearBufferfv(gl.COLOR, c, [l.ground[c], 0, 0, 0]);
    gl.clearBufferfv(gl.DEPTH, 0, [1]);
    const place = ({ at }) => {
      gl.uniformMatrix3fv(at.turn, false, columns); gl.uniform3f(at.frame, x, y, step);
      gl.uniform2f(at.size, width, height); gl.uniform2f(at.jitter, 2 * shift[0] / width, 2 * shift[1] / height);
      gl.uniform2fv(at.eye, this.eye());
    };
    let program = this.programs.body;
    gl.useProgram(program.made); place(program);
    if (s.tiles.length && this.overFloor(m)) {
      gl.disable(gl.DEPTH_TEST); gl.uniform1f(program.at.flat_, 1);
      gl.bindVertexArray(this.arrays.floor); gl.drawElements(gl.TRIANGLES, s.tiles.length, gl.UNSIGNED_INT, 0);
      gl.enable(gl.DEPTH_TEST);
    }
    if (s.triangles.length) {
      gl.uniform1f(program.at.flat_, 0);
      gl.bindVertexArray(this.arrays.body); gl.drawElements(gl.TRIANGLES, s.triangles.length, gl.UNSIGNED_INT, 0);
    }
    const apart = Math.max(...l.cloths.map((_, k) => Math.min(l.uneven[4 * k], l.uneven[4 * k + 1])));
    program = apart > l.nearness[1] * step ? this.programs.near ??= this.program(CLOTH_VERTEX, cloth_(true)) : this.programs.cloth;
    gl.useProgram(program.made); place(program);
    const { at } = program;
    [["keys", gl.TEXTURE_3D], ["rooms", gl.TEXTURE_2D_ARRAY], ["glows", gl.TEXTURE_2D_ARRAY], ["weave", gl.TEXTURE_2D]].forEach(([name, kind], i) => {
      gl.activeTexture(gl.TEXTURE0 + i); gl.bindTexture(kind, this.textures[name]); gl.uniform1i(at[name], i);
    });
    const lamps = l.lamps.slice(0, 6), six = name => { const out = new Float32Array(18); lamps.forEach((x, i) => out.set(x[name], 3 * i)); return out; };
    gl.uniform3fv(at.lampWay, six("direction")); gl.uniform3fv(at.lampShine, six("white")); gl.uniform1i(at.lampCount, lamps.length);
    gl.uniform4fv(at.nearness, l.nearness);
    gl.uniform4f(at.sizes, l.disc, l.turns, l.sights, l.cloths.length);
    gl.uniform1fv(at.spans, l.spans); gl.uniform1fv(at.grains, l.grains); gl.uniform3fv(at.lights, l.light); gl.uniform2fv(at.inside, l.inside); gl.uniform4fv(at.fallen, this.fallen); gl.uniform4fv(at.uneven, l.uneven); gl.uniform1fv(at.lengths, l.lengths);
    gl.uniform1f(at.mmPixel, step); gl.uniform1f(at.least, l.least); gl.uniform1f(at.before, l.ahead_mm);
    gl.uniform1f(at.frontOnly, this.frontOnly ? 1 : 0);
    gl.enable(gl.BLEND); gl.blendFunc(gl.ONE, gl.SRC_ALPHA); gl.depthMask(false);
    gl.bindVertexArray(this.arrays.cloth); gl.drawElements(gl.TRIANGLES, this.index.length, gl.UNSIGNED_INT, 0);
    gl.bindVertexArray(null); gl.disable(gl.DEPTH_TEST);
    // into the mean of the frames so far
    gl.bindFramebuffer(gl.FRAMEBUFFER, t.sum);
    program = this.programs.gather; gl.useProgram(program.made);
    t.colours.forEach((c, i) => { gl.activeTexture(gl.TEXTURE0 + i); gl.bindTexture(gl.TEXTURE_2D, c); gl.uniform1i(program.at["rgb"[i]], i); });
    gl.uniform1f(program.at.share, share); gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    if (share >= 1) gl.disable(gl.BLEND);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
    gl.disable(gl.BLEND);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null); gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    program = this.programs.show; gl.useProgram(program.made);
    gl.activeTexture(gl.TEXTURE0); gl.bindTexture(gl.TEXTURE_2D, t.gathered); gl.uniform1i(program.at.gathered, 0);
    gl.uniform1f(program.at.exposure, l.exposure); gl.uniform1f(program.at.shoulder, l.shoulder); gl.uniform3fv(program.at.luminance, l.luminance);
    gl.uniform2f(program.at.ratio, 1 / this.canvas.width, 1 / this.canvas.height);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }

  /** Something changed: draw soon, coarser while it goes on. */
  moved(moving = true, others = false, now = false) {
    this.still = 0; this.asked++; this.moving = moving; this.lastMoved = performance.now();
    if (others) for (const v of this.sight.views) if (v !== this) v.moved(moving);
    if (now && !this.waiting) this.frame(); else this.soon();   // the graphics work while the page is still built
  }

  soon() {
    if (this.waiting || this.gone) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.frame(); });
  }

  size() {
    const ratio = Math.min(globalThis.devicePixelRatio || 1, 2), box = this.canvas.getBoundingClientRect();
    return [Math.max(8, Math.round(box.width * ratio)), Math.max(8, Math.round(box.height * ratio))];
  }

  frame() {
    if (!this.stage || !this.light || this.gl.isContextLost() || this.gone) return;
    const began = performance.now(), of = this.light, { asked } = this, [w, h] = this.size();
    if (this.canvas.width !== w || this.canvas.height !== h) { this.canvas.width = w; this.canvas.height = h; this.still = 0; }
    const fresh = this.fresh, coarse = this.moving || fresh ? this.scale : 1;   // what is new stands at once, then sharpens
    const m = rotation(this.sight.turn, this.above()), key = m.join() + this.light.id;
    if (this.reachFor !== key) {   // turned, or new light: one sweep now, the rest when still
      const way = [m, this.light.lamps.map(x => x.direction), this.light.soft_deg].join();
      const same = way === this.way && this.sameShade();
      if (!same) this.shade = this.light.dim;
      this.sweptAll = this.light_(m, same ? this.swept : 0, same ? 0 : 1, !same); this.reachFor = key; this.way = way;
    } else if (!this.sweptAll) this.sweptAll = this.light_(m, this.swept, this.slow ? SOFT : this.still ? 2 : 1, false);
    const settled = this.sweptAll;
    if (!settled) this.still = 0;
    const n = this.still, shift = n ? [halton(n, 2) - 0.5, halton(n, 3) - 0.5] : [0, 0];
    this.draw(Math.max(8, Math.round(w * coarse)), Math.max(8, Math.round(h * coarse)), shift, 1 / (n + 1));
    const again = () => {
      const took = performance.now() - began;
      this.frames.push(took); if (this.frames.length > 60) this.frames.shift();
      this.drawn = (this.drawn || 0) + 1;
      if (of === this.light) { this.fresh = false; this.ready?.(); }
      if (this.moving) {
        if (took > 45) this.scale = Math.max(0.3, this.scale * 0.85);
        else if (took < 22) this.scale = Math.min(1, this.scale * 1.08);
        if (performance.now() - this.lastMoved > 160) { this.moving = false; this.still = 0; remember(this.share, this.sight); }
        this.soon();
        return;
      }
      if (fresh || asked !== this.asked) { this.soon(); return; }   // what changed meanwhile begins a mean of its own
      this.slow = took > this.patience;
      this.scale = Math.min(1, Math.max(0.3, Math.sqrt(45 / took)));
      if (!settled) this.soon();
      else if (this.still < (this.slow ? STILL_SLOW : STILL) - 1) { this.still++; this.soon(); }
      else { this.canvas.dataset.settled = "yes"; this.settled?.(); }
    };
    this.canvas.dataset.settled = "";
    this.fence(again);
  }

  /** Once the graphics have done what was asked of them. */
  fence(then) {
    const gl = this.gl, sync = gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0);
    gl.flush();
    this.waiting = true;
    const look = () => {
      if (this.gone || gl.isContextLost()) { this.waiting = false; return; }
      const state = gl.clientWaitSync(sync, 0, 0);
      if (state === gl.TIMEOUT_EXPIRED) { setTimeout(look, 2); return; }
      gl.deleteSync(sync); this.waiting = false; then();
    };
    look();
  }

  // --- hands ---

  hands() {
    const c = this.canvas, s = this.sight, down = new Map();
    let start = null, travelled = 0, span = 0;
    const on = (kind, act, options) => { c.addEventListener(kind, act, options); this.stops.push(() => c.removeEventListener(kind, act, options)); };
    const bounded = () => { s.tilt = Math.min(40, Math.max(-20, s.tilt)); s.zoom = Math.min(40, Math.max(0.6, s.zoom)); s.turn = (s.turn % 360 + 360) % 360; };
    on("pointerdown", e => {
      c.setPointerCapture?.(e.pointerId); down.set(e.pointerId, [e.clientX, e.clientY]); c.focus({ preventScroll: true });
      if (down.size === 1) { start = [e.clientX, e.clientY]; travelled = 0; }
      if (down.size === 2) { const [a, b] = [...down.values()]; span = Math.hypot(a[0] - b[0], a[1] - b[1]); }
    });
    on("pointermove", e => {
      const last = down.get(e.pointerId);
      if (!last) return;
      const dx = e.clientX - last[0], dy = e.clientY - last[1];
      down.set(e.pointerId, [e.clientX, e.clientY]);
      travelled += Math.abs(dx) + Math.abs(dy);
      if (down.size === 2) {
        const [a, b] = [...down.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (span > 0) s.zoom *= now / span;
        span = now;
        s.right -= dx / 2 / c.clientHeight; s.up += dy / 2 / c.clientHeight;
      } else if (e.shiftKey) { s.right -= dx / c.clientHeight; s.up += dy / c.clientHeight; }
      else { s.turn -= dx * 0.4; s.tilt += dy * 0.2; }
      bounded(); this.moved(true, true);
    });
    const lift = e => {
      if (!down.delete(e.pointerId)) return;
      if (e.type === "pointerup" && down.size === 0 && start && travelled < 4) this.press(e.clientX, e.clientY);
    };
    on("pointerup", lift); on("pointercancel", lift);
    on("wheel", e => { e.preventDefault(); s.zoom *= Math.exp(-e.deltaY * 0.0015); bounded(); this.moved(true, true); }, { passive: false });
    on("keydown", e => {
      const acts = { ArrowLeft: () => s.turn += 5, ArrowRight: () => s.turn -= 5, ArrowUp: () => s.tilt += 3, ArrowDown: () => s.tilt -= 3,
        "+": () => s.zoom *= 1.15, "=": () => s.zoom *= 1.15, "-": () => s.zoom /= 1.15,
        Home: () => Object.assign(s, { turn: 0, tilt: 0, zoom: 1, right: 0, up: 0 }) };
      if (e.key === "Enter" || e.key === " ") { const b = c.getBoundingClientRect(); this.press(b.left + b.width / 2, b.top + b.height / 2); }
      else if (acts[e.key]) acts[e.key](); else return;
      e.preventDefault(); bounded(); this.moved(true, true);
    });
    on("webglcontextlost", e => { e.preventDefault(); this.waiting = false; });
    on("webglcontextrestored", () => { this.graphics(); this.placed = this.lit = false; this.waiting = false; this.moved(false); });
  }

  /** Colour and place under a point of the window; told to ``pressed``. */
  press(clientX, clientY) {
    const box = this.canvas.getBoundingClientRect(), gl = this.gl;
    const fx = (clientX - box.left) / box.width, fy = (clientY - box.top) / box.height;
    const found = this.at(fx, fy), code = new Uint8Array(4);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
    gl.readPixels(Math.floor(fx * this.canvas.width), this.canvas.height - 1 - Math.floor(fy * this.canvas.height), 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, code);
    const told = { x: fx, y: fy, code: [...code.slice(0, 3)], space: this.light.space, turn: this.sight.turn, tilt: this.sight.tilt, zoom: this.sight.zoom, ...found };
    this.lastPress = told;
    this.pressed?.(told);
    return told;
  }

  /** What lies foremost at a share of the picture's width and height. */
  at(fx, fy) {
    const s = this.stage, [w, h] = [this.canvas.width, this.canvas.height], [x, y, step] = this.framing(w, h);
    const px = x + (fx - 0.5) * w * step, py = y - (fy - 0.5) * h * step, p = this.turned.slice(), q = s.quads, [away, up] = this.eye();
    for (let i = 0; i < p.length; i += 3) {
      const near = away / (away - p[i + 2]);
      p[i] *= near; p[i + 1] = up + near * (p[i + 1] - up);
    }
    const hit = (a, b, c) => {
      const d = (p[3 * b] - p[3 * a]) * (p[3 * c + 1] - p[3 * a + 1]) - (p[3 * c] - p[3 * a]) * (p[3 * b + 1] - p[3 * a + 1]);
      const u = ((p[3 * c] - p[3 * b]) * (py - p[3 * b + 1]) - (p[3 * c + 1] - p[3 * b + 1]) * (px - p[3 * b])) / d;
      const v = ((p[3 * a] - p[3 * c]) * (py - p[3 * c + 1]) - (p[3 * a + 1] - p[3 * c + 1]) * (px - p[3 * c])) / d;
      return u >= 0 && v >= 0 && u + v <= 1 ? [u, v, 1 - u - v] : null;
    };
    const nz = (k, a, b, c) => k[0] * p[3 * a + 2] + k[1] * p[3 * b + 2] + k[2] * p[3 * c + 2];
    let body = -Infinity;
    for (let t = 0; t < s.triangles.length; t += 3) {
      const n = s.points.length / 3, [a, b, c] = [0, 1, 2].map(i => n + s.triangles[t + i]), k = hit(a, b, c);
      if (k) body = Math.max(body, nz(k, a, b, c));
    }
    let layers = 0, found = { what: body > -Infinity ? "body" : "ground" };
    for (let i = this.order.length - 1; i >= 0; i--) {
      const f = 4 * this.order[i];
      for (const [a, b, c] of [[q[f], q[f + 1], q[f + 2]], [q[f], q[f + 2], q[f + 3]]]) {
        const k = hit(a, b, c);
        if (!k || nz(k, a, b, c) + this.light.ahead_mm < body) continue;
        if (!layers++) found = {
          what: "cloth", cloth_mm: laid([0, 1].map(j => k[0] * s.places[2 * a + j] + k[1] * s.places[2 * b + j] + k[2] * s.places[2 * c + j]), this.light.grains[s.kinds[a]]),
          doubled: k[0] * s.folds[a] + k[1] * s.folds[b] + k[2] * s.folds[c] < 0,
        };
        break;
      }
    }
    return { ...found, layers };
  }

  close() {
    this.gone = true; this.stops.forEach(f => f()); this.watch.disconnect(); this.sight.views.delete(this);
    this.gl.getExtension("WEBGL_lose_context")?.loseContext();
  }
}

function shade(linear, shoulder) {
  const room = 1 - shoulder, past = v => Math.min(v - shoulder, 2 * room);
  const eased = v => v > shoulder ? shoulder + past(v) * (1 - 0.25 * past(v) / room) : v;
  const code = linear.map(eased).map(v => Math.round(255 * (v <= 0.0031308 ? 12.92 * v : 1.055 * Math.min(v, 1) ** (1 / 2.4) - 0.055)));
  return `rgb(${code.join(" ")})`;
}

/** A place on the cloth as it lies turned. */
function laid([u, v], grain) {
  const c = Math.cos(grain), s = Math.sin(grain);
  return [c * u - s * v, s * u + c * v];
}

/** RGB of a table, plane by plane, each turned about by half a turn. */
function turnedAbout(values, plane) {
  const out = new Uint16Array(values.length);
  for (let first = 0; first < values.length; first += plane)
    for (let i = 0; i < plane; i += 3) out.set(values.subarray(first + i, first + i + 3), first + plane - 3 - i);
  return out;
}

/** The tables of all that is laid, in a light: as deep as the deepest, with what repeats written again. */
function joined(light, cloths) {
  light.cloths = cloths;
  light.turns = Math.max(...cloths.map(x => x.key.shape[1]));
  light.disc = cloths[0].key.shape[2]; light.sights = cloths[0].room.shape[1];
  light.spans = new Float32Array(12);
  light.dim = new Float32Array(cloths.length * 48);
  cloths.forEach((x, k) => {
    light.spans[k] = x.span * (light.turns - 1) / (x.key.shape[1] - 1);
    if (light.bands.includes(k)) light.dim.fill(1, 48 * k, 48 * (k + 1));   // close on a body they shade nothing
    else light.dim.set(x.dim, 48 * k);
  });
}

function halton(i, base) {
  let f = 1, r = 0;
  while (i > 0) { f /= base; r += f * (i % base); i = Math.floor(i / base); }
  return r;
}

/** What a stage's parcel leaves out because it follows from the rest. */
function prepare(s) {
  if (s.ready) return;
  const wide = (a, by) => Float32Array.from(a, v => v / by);
  s.normals = wide(s.normals, 32767); s.warps = wide(s.warps, 32767); s.body_normals = wide(s.body_normals, 32767);
  s.opens = wide(s.opens, 255); s.body_open = wide(s.body_open, 255); s.floor_open = wide(s.floor_open, 255);
  const n = s.points.length / 3, b = s.body.length / 3, f = s.floor.length / 3;
  s.everything = new Float32Array(3 * (n + b + f));
  s.everything.set(s.points); s.everything.set(s.body, 3 * n); s.everything.set(s.floor, 3 * (n + b));
  s.placeCount = n + b + f; s.cornerCount = n + b;
  const m = s.quads.length / 4, t = s.triangles.length / 3;
  s.faces = new Uint32Array(4 * (m + t)); s.faces.set(s.quads);
  s.face_kind = new Int16Array(m + t).fill(-1);
  s.kinds = new Float32Array(n);
  for (let i = 0; i < m; i++) { s.face_kind[i] = s.kind[i]; for (let k = 0; k < 4; k++) s.kinds[s.quads[4 * i + k]] = s.kind[i]; }
  for (let i = 0; i < t; i++) {
    for (let k = 0; k < 3; k++) s.faces[4 * (m + i) + k] = n + s.triangles[3 * i + k];
    s.faces[4 * (m + i) + 3] = s.faces[4 * (m + i) + 2];
  }
  s.facing = new Float32Array(3 * s.placeCount);
  s.facing.set(s.normals); s.facing.set(s.body_normals, 3 * n);
  for (let i = n + b; i < n + b + f; i++) s.facing[3 * i + 2] = 1;
  s.lift = new Float32Array(s.placeCount).fill(s.lift_mm[1]).fill(s.lift_mm[0], 0, n);
  s.triangles = Uint32Array.from(s.triangles); s.tiles = Uint32Array.from(s.tiles);
  s.ready = true;
}

// --- in the page ---

/** Back and Forward are told to the page: a message alone does not say that its address was gone to. */
function watchAddress() {
  if (COMMON.watched) return;
  COMMON.watched = true;
  // a making that only gets its name is no further place: Back would lead nowhere, and going back lose Forward
  const told = href => { const all = new URL(href, location.href).searchParams, made = all.get("making"); all.delete("making"); return [made, all.toString().split("&").sort().join()]; };
  const push = history.pushState.bind(history), replace = history.replaceState.bind(history);
  history.pushState = (state, title, href) => {
    const [was, here] = told(location.href), [, there] = told(href ?? location.href);
    (was === null && here === there ? replace : push)(state, title, href);
  };
  let count = 0;
  addEventListener("popstate", () => COMMON.went?.({ count: ++count, search: location.search }));
}

/** Keep a stage or the tables of a cloth for all views; its carrier sends it once. */
export function keep(part) {
  const kept = COMMON.parts[part.parcel];
  if (!kept.has(part.id)) kept.set(part.id, part);
  const used = new Set([...COMMON.views.values()].flatMap(x => [x.light?.stage, ...x.light?.wanted ?? []]));
  for (const id of [...kept.keys()]) if (kept.size > KEPT[part.parcel] && !used.has(id) && id !== part.id) kept.delete(id);
  for (const slot of COMMON.views.values()) slot.update?.();
}

/** Whether the words under the picture are of what is drawn: they may come before it, or after. */
function judge({ root, view, told }) {
  const words = document.querySelector(".wc-drawn")?.textContent;
  root.classList.toggle("late", !!view && (told === null || told !== (words ?? told)));
}

export default function (component) {
  const { parentElement, data, setStateValue, setTriggerValue } = component;
  if (!data) return;
  const head = unpacked(data);
  if (head.parcel in COMMON.parts) { keep(head); return; }
  const root = parentElement.querySelector(".hung");
  COMMON.went = told => setStateValue("went", told);
  watchAddress();
  let slot = COMMON.views.get(head.view);
  if (slot && slot.root !== root) { slot.watch.disconnect(); slot.view?.close(); slot = null; }
  if (!slot) {
    slot = { root, told: null }; COMMON.views.set(head.view, slot);
    slot.watch = new MutationObserver(() => judge(slot));
    slot.watch.observe(document.body, { subtree: true, childList: true, characterData: true });
  }
  const canvas = root.querySelector("canvas"), picture = root.querySelector("img"), wait = root.querySelector(".wait");
  // the same tables told again only bring other words
  if (!slot.light || slot.light.id !== head.id) { slot.light = head; head.wanted = head.cloths ?? []; }
  slot.light.share = head.share; slot.light.words = head.words;
  if (slot.told !== null && slot.view.light === slot.light) slot.told = head.words;
  slot.view?.join(head.share);
  if (head.ground) root.style.setProperty("--ground", shade(head.ground.map(v => v * head.exposure), head.shoulder));
  canvas.setAttribute("aria-label", head.words);
  root.classList.toggle("waiting", !!head.dimmed); root.classList.toggle("first", !!head.waiting && !head.dimmed);
  wait.hidden = !head.waiting; wait.textContent = head.waiting;
  if (head.picture_bytes) {
    const bytes = data instanceof Uint8Array ? data : new Uint8Array(data);
    if (slot.url) URL.revokeObjectURL(slot.url);
    slot.url = URL.createObjectURL(new Blob([bytes.slice(bytes.length - head.picture_bytes)], { type: "image/webp" }));
    picture.src = slot.url;
  }
  const before = !slot.view && head.id ? last(slot.light) : "";
  if (before) picture.src = before;
  picture.hidden = !picture.src;
  picture.alt = head.words;
  const plain = why => {
    slot.failed = true; root.dataset.why = why; root.classList.add("plain");
    if (!slot.said) { slot.said = true; setStateValue("plain", true); }
  };
  slot.update = () => {
    const stage = COMMON.parts.stage.get(slot.light.stage), cloths = slot.light.wanted.map(id => COMMON.parts.cloth.get(id));
    if (slot.view) slot.view.pressed = told => setTriggerValue("pressed", told);
    if (!stage || cloths.includes(undefined) || slot.failed) return;
    try {
      if (!slot.view) {
        slot.view = new View(root.querySelector("canvas"), slot.light.share, slot.light.sight);
        slot.view.settled = () => keepLast(slot.view);
        root.view = slot.view;
      }
      slot.view.pressed = told => setTriggerValue("pressed", told);
      if (slot.view.stage !== stage || slot.view.light !== slot.light) {
        slot.told = null; judge(slot);   // the old one stays dimmed until it is drawn
        slot.view.ready = () => { slot.told = slot.view.light.words; root.classList.add("live"); judge(slot); };
        slot.view.show(stage, slot.light, cloths);
      }
      root.classList.remove("plain");
    } catch (error) { plain(String(error)); }
  };
  if (slot.view || slot.failed) slot.update();
  else if (!View.possible()) plain("");
  else picture.decode().catch(() => {}).then(() => setTimeout(() => slot.update(), 20));   // graphics begin slowly: first what is there
  clearTimeout(slot.end);
  return () => { slot.end = setTimeout(() => {   // a kept canvas leaks: let it go unless it comes again
    if (!slot.root.isConnected) { slot.watch.disconnect(); slot.view?.close(); COMMON.views.delete(head.view); }
  }, 1500); };
}
