/* Hang cloth by its weight and stiffness without letting it pierce itself.
 *
 * Position-based dynamics with compliance, one sweep a substep (Macklin, Mueller and Chentanez,
 * "XPBD", 2016; "Small steps", 2019). Cloth: triangles stiff along weft and warp, soft in shear;
 * bending by the squared Laplacian of the flat cloth (Bergou et al., "A quadratic bending model
 * for inextensible surfaces", 2006). Since one sweep leaves a constraint as soft as
 * compliance + sum of (inverse mass x gradient^2) dt^2, that second part is taken off beforehand.
 * Piercing: at every search for neighbours each vertex gets a bound, a share below one half of
 * its distance to the nearest other cloth, and may not leave it before the next search; so what
 * starts free of piercing stays so. Units: m, kg, s.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct { int i[4]; float d; unsigned char kind; } Pair; /* kind 0: vertex-triangle, 1: edge-edge */

typedef struct {
  int n, nq, nt, nb, ns, nl;
  double *x, *v, *p, *xd, *bound, *w;
  int *quad, *tri, *bi, *si, *la;
  double *dinv, *at;              /* triangles: inverse rest matrix, compliances (u, v, shear) */
  double *bw, *ba;                /* bending: 9 weights, compliance */
  double *sr, *sa;                /* springs: rest length, compliance; si < 0 in [2]: only pulls */
  double *ll;                     /* longest reach from an anchor */
  unsigned char *owns;            /* of a quad: bits 0-3 vertices, then 5 bits edges in owne */
  unsigned char *owne;
  int np, cap; Pair *pair;
  double r, rq, gamma, mu;
  /* collider: signed distance on a grid */
  int cn[3]; double co[3], cs; float *cd; double crad, cmu;
  int *deg; double *acc;
  long detections, clamped; int careful;
} Sim;

static void *keep(const void *from, size_t size) {
  void *to = malloc(size ? size : 1); if (from) memcpy(to, from, size); else memset(to, 0, size);
  return to;
}
#define KEEP(p, count) keep(p, sizeof(*(p)) * (size_t)(count))

static void owners(Sim *s) {
  unsigned char *seen = calloc(s->n, 1);
  s->owns = calloc(s->nq, 1); s->owne = calloc(s->nq, 1);
  /* an edge belongs to the first quad that has it: hash of vertex pairs */
  size_t cap = 1; while (cap < (size_t)s->nq * 12) cap <<= 1;
  unsigned long long *key = calloc(cap, sizeof *key);
  for (int q = 0; q < s->nq; q++) {
    int *c = s->quad + 4 * q;
    for (int k = 0; k < 4; k++) if (!seen[c[k]]) { seen[c[k]] = 1; s->owns[q] |= 1 << k; }
    int e[5][2] = {{c[0], c[1]}, {c[1], c[2]}, {c[2], c[3]}, {c[3], c[0]}, {c[0], c[2]}};
    for (int k = 0; k < 5; k++) {
      unsigned long long a = e[k][0], b = e[k][1];
      if (a > b) { unsigned long long t = a; a = b; b = t; }
      unsigned long long id = (a << 32 | b) + 1;
      size_t h = (id * 0x9E3779B97F4A7C15ULL) >> 20 & (cap - 1);
      while (key[h] && key[h] != id) h = (h + 1) & (cap - 1);
      if (!key[h]) { key[h] = id; s->owne[q] |= 1 << k; }
    }
  }
  free(key); free(seen);
}

Sim *sim_new(int n, const double *x, const double *w, int nq, const int *quad,
             int nt, const int *tri, const double *dinv, const double *at,
             int nb, const int *bi, const double *bw, const double *ba,
             int ns, const int *si, const double *sr, const double *sa,
             int nl, const int *la, const double *ll, double r, double mu) {
  Sim *s = calloc(1, sizeof *s);
  s->n = n; s->nq = nq; s->nt = nt; s->nb = nb; s->ns = ns; s->nl = nl;
  s->x = KEEP(x, 3 * n); s->xd = KEEP(x, 3 * n); s->p = KEEP(x, 3 * n); s->w = KEEP(w, n);
  s->v = calloc(3 * n, sizeof(double)); s->bound = calloc(n, sizeof(double));
  s->quad = KEEP(quad, 4 * nq); s->tri = KEEP(tri, 3 * nt);
  s->dinv = KEEP(dinv, 4 * nt); s->at = KEEP(at, 3 * nt);
  s->bi = KEEP(bi, 9 * nb); s->bw = KEEP(bw, 9 * nb); s->ba = KEEP(ba, nb);
  s->si = KEEP(si, 3 * ns); s->sr = KEEP(sr, ns); s->sa = KEEP(sa, ns);
  s->la = KEEP(la, 2 * nl); s->ll = KEEP(ll, nl);
  s->r = r; s->rq = 1.7 * r; s->gamma = 0.45; s->mu = mu;
  s->cap = 1 << 16; s->pair = malloc(sizeof(Pair) * s->cap);
  s->deg = calloc(n, sizeof(int)); s->acc = calloc(3 * n, sizeof(double));
  for (int q = 0; q < nq; q++) for (int k = 0; k < 4; k++) s->deg[quad[4 * q + k]] += 2;
  owners(s);
  return s;
}

void sim_collider(Sim *s, const int *n, const double *o, double step, const float *d, double rad,
                  double mu) {
  memcpy(s->cn, n, sizeof s->cn); memcpy(s->co, o, sizeof s->co);
  s->cs = step; s->crad = rad; s->cmu = mu;
  free(s->cd); s->cd = KEEP(d, (size_t)n[0] * n[1] * n[2]);
}

void sim_free(Sim *s) {
  void *all[] = {s->x, s->v, s->p, s->xd, s->bound, s->w, s->quad, s->tri, s->bi, s->si, s->la,
                 s->dinv, s->at, s->bw, s->ba, s->sr, s->sa, s->ll, s->owns, s->owne, s->pair,
                 s->cd, s->deg, s->acc};
  for (size_t k = 0; k < sizeof all / sizeof *all; k++) free(all[k]);
  free(s);
}
void sim_careful(Sim *s, int quads) { s->careful = quads; }
void sim_get(Sim *s, double *x) { memcpy(x, s->x, sizeof(double) * 3 * s->n); }
void sim_set(Sim *s, const double *x) { memcpy(s->x, x, sizeof(double) * 3 * s->n); }
void sim_velocity(Sim *s, double *v) { memcpy(v, s->v, sizeof(double) * 3 * s->n); }
void sim_weights(Sim *s, const double *w) { memcpy(s->w, w, sizeof(double) * s->n); }
void sim_counts(Sim *s, long *c) { c[0] = s->detections; c[1] = s->clamped; c[2] = s->np; }

/* ---------------------------------------------------------------- closest points */
static inline double dot(const double *a, const double *b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}
#define SUB(o, a, b) double o[3] = {(a)[0] - (b)[0], (a)[1] - (b)[1], (a)[2] - (b)[2]}

/* weights of a, b, c at the point of the triangle nearest to p (Ericson, Real-Time Collision
   Detection, 2005, section 5.1.5) */
static inline void nearest_in_triangle(const double *p, const double *a, const double *b,
                                       const double *c, double *t) {
  SUB(ab, b, a); SUB(ac, c, a); SUB(ap, p, a);
  double d1 = dot(ab, ap), d2 = dot(ac, ap);
  if (d1 <= 0 && d2 <= 0) { t[0] = 1; t[1] = t[2] = 0; return; }
  SUB(bp, p, b); double d3 = dot(ab, bp), d4 = dot(ac, bp);
  if (d3 >= 0 && d4 <= d3) { t[1] = 1; t[0] = t[2] = 0; return; }
  double vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) { double u = d1 / (d1 - d3); t[0] = 1 - u; t[1] = u; t[2] = 0; return; }
  SUB(cp, p, c); double d5 = dot(ab, cp), d6 = dot(ac, cp);
  if (d6 >= 0 && d5 <= d6) { t[2] = 1; t[0] = t[1] = 0; return; }
  double vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) { double u = d2 / (d2 - d6); t[0] = 1 - u; t[1] = 0; t[2] = u; return; }
  double va = d3 * d6 - d5 * d4;
  if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) {
    double u = (d4 - d3) / ((d4 - d3) + (d5 - d6)); t[0] = 0; t[1] = 1 - u; t[2] = u; return;
  }
  double k = 1 / (va + vb + vc); t[1] = vb * k; t[2] = vc * k; t[0] = 1 - t[1] - t[2];
}

/* shares along two segments of their nearest points (the same, section 5.1.9) */
static inline void nearest_of_segments(const double *p1, const double *q1, const double *p2,
                                       const double *q2, double *s, double *t) {
  SUB(d1, q1, p1); SUB(d2, q2, p2); SUB(r, p1, p2);
  double a = dot(d1, d1), e = dot(d2, d2), f = dot(d2, r), c = dot(d1, r), b = dot(d1, d2);
  double den = a * e - b * b, u = 0, v;
  if (den > 1e-12 * a * e) { u = (b * f - c * e) / den; u = u < 0 ? 0 : u > 1 ? 1 : u; }
  v = (b * u + f) / e;
  if (v < 0) { v = 0; u = -c / a; u = u < 0 ? 0 : u > 1 ? 1 : u; }
  else if (v > 1) { v = 1; u = (b - c) / a; u = u < 0 ? 0 : u > 1 ? 1 : u; }
  *s = u; *t = v;
}

static inline double pair_state(const Sim *s, const Pair *q, double *b, double *n) {
  const double *x = s->x, *x0 = x + 3 * q->i[0], *x1 = x + 3 * q->i[1], *x2 = x + 3 * q->i[2],
               *x3 = x + 3 * q->i[3];
  if (q->kind == 0) {
    double t[3]; nearest_in_triangle(x0, x1, x2, x3, t);
    b[0] = 1; b[1] = -t[0]; b[2] = -t[1]; b[3] = -t[2];
  } else {
    double u, v; nearest_of_segments(x0, x1, x2, x3, &u, &v);
    b[0] = 1 - u; b[1] = u; b[2] = -(1 - v); b[3] = -v;
  }
  for (int k = 0; k < 3; k++) n[k] = b[0] * x0[k] + b[1] * x1[k] + b[2] * x2[k] + b[3] * x3[k];
  return sqrt(dot(n, n));
}

static inline void consider(Sim *s, int kind, int a, int b, int c, int d) {
  if (s->np == s->cap) { s->cap *= 2; s->pair = realloc(s->pair, sizeof(Pair) * s->cap); }
  Pair *q = s->pair + s->np; q->kind = kind; q->i[0] = a; q->i[1] = b; q->i[2] = c; q->i[3] = d;
  double w[4], n[3], dist = pair_state(s, q, w, n);
  if (dist >= s->rq) return;
  q->d = dist;
  double lim = s->gamma * (dist - 3e-4); /* held there, rather than let slip through by and by */
  if (lim < 0.004 * dist) lim = 0.004 * dist;
  for (int k = 0; k < 4; k++) if (lim < s->bound[q->i[k]]) s->bound[q->i[k]] = lim;
  s->np++;
}

/* ---------------------------------------------------------------- search for neighbours */
static const int EDGE[5][2] = {{0, 1}, {1, 2}, {2, 3}, {3, 0}, {0, 2}};

typedef struct { float lo[3], hi[3]; } Box;

static void quads_near(Sim *s, double pad, void (*found)(Sim *, int, int, void *), void *with) {
  int nq = s->nq; Box *box = malloc(sizeof(Box) * nq);
  double lo[3] = {1e9, 1e9, 1e9}, hi[3] = {-1e9, -1e9, -1e9}, most = 0;
  for (int q = 0; q < nq; q++) {
    for (int k = 0; k < 3; k++) {
      double a = 1e9, b = -1e9;
      for (int j = 0; j < 4; j++) { double y = s->x[3 * s->quad[4 * q + j] + k]; if (y < a) a = y; if (y > b) b = y; }
      a -= 0.5 * pad; b += 0.5 * pad; box[q].lo[k] = a; box[q].hi[k] = b;
      if (b - a > most) most = b - a;
      if (a < lo[k]) lo[k] = a; if (b > hi[k]) hi[k] = b;
    }
  }
  double cell = most * 1.001; int n[3]; long total = 1;
  for (int k = 0; k < 3; k++) { n[k] = (int)((hi[k] - lo[k]) / cell) + 1; total *= n[k]; }
  int *start = calloc(total + 1, sizeof(int)), *at = malloc(sizeof(int) * nq), *list = malloc(sizeof(int) * nq);
  for (int q = 0; q < nq; q++) {
    long c = 0;
    for (int k = 0; k < 3; k++) { int i = (int)((0.5 * (box[q].lo[k] + box[q].hi[k]) - lo[k]) / cell); c = c * n[k] + (i < 0 ? 0 : i >= n[k] ? n[k] - 1 : i); }
    at[q] = c; start[c + 1]++;
  }
  for (long c = 0; c < total; c++) start[c + 1] += start[c];
  int *fill = malloc(sizeof(int) * (total ? total : 1)); memcpy(fill, start, sizeof(int) * total);
  for (int q = 0; q < nq; q++) list[fill[at[q]]++] = q;
  for (int q = 0; q < nq; q++) {
    int cz = at[q] % n[2], cy = at[q] / n[2] % n[1], cx = at[q] / n[2] / n[1];
    for (int X = cx - 1; X <= cx + 1; X++) if (X >= 0 && X < n[0])
      for (int Y = cy - 1; Y <= cy + 1; Y++) if (Y >= 0 && Y < n[1]) {
        int z0 = cz > 0 ? cz - 1 : 0, z1 = cz < n[2] - 1 ? cz + 1 : cz;
        long c = ((long)X * n[1] + Y) * n[2];
        for (int j = start[c + z0]; j < start[c + z1 + 1]; j++) {
          int o = list[j]; if (o <= q) continue;
          const Box *A = box + q, *B = box + o;
          if (A->lo[0] > B->hi[0] || B->lo[0] > A->hi[0] || A->lo[1] > B->hi[1] || B->lo[1] > A->hi[1] ||
              A->lo[2] > B->hi[2] || B->lo[2] > A->hi[2]) continue;
          found(s, q, o, with);
        }
      }
  }
  free(fill); free(list); free(at); free(start); free(box);
}

static void near_pair(Sim *s, int q, int o, void *with) {
  const float *nor = with; const int *qa = s->quad + 4 * q, *qb = s->quad + 4 * o; int shared = 0;
  for (int k = 0; k < 4; k++) for (int l = 0; l < 4; l++) shared += qa[k] == qb[l];
  /* neighbours hardly bent and hardly crushed keep their other corners apart, but in gathers */
  if (shared && q >= s->careful && o >= s->careful && nor[3 * q] * nor[3 * o] + nor[3 * q + 1] * nor[3 * o + 1] + nor[3 * q + 2] * nor[3 * o + 2] > 0.85f && nor[3 * s->nq + q] > 0.7f && nor[3 * s->nq + o] > 0.7f) return;
  const double *x = s->x; double rq = s->rq;
  for (int turn = 0; turn < 2; turn++, q ^= o, o ^= q, q ^= o) {
    const int *a = s->quad + 4 * q, *b = s->quad + 4 * o;
    for (int k = 0; k < 4; k++) if (s->owns[q] >> k & 1) {
      int i = a[k];
      if (i == b[0] || i == b[2]) continue;
      const float *ball = nor + 4 * s->nq + 4 * o; const double *y = s->x + 3 * i;
      double u = y[0] - ball[0], v = y[1] - ball[1], w = y[2] - ball[2];
      if (u * u + v * v + w * w > ball[3]) continue;
      if (i != b[1]) consider(s, 0, i, b[0], b[1], b[2]);
      if (i != b[3]) consider(s, 0, i, b[0], b[2], b[3]);
    }
  }
  const int *a = s->quad + 4 * q, *b = s->quad + 4 * o;
  for (int k = 0; k < 5; k++) if (s->owne[q] >> k & 1) {
    int i = a[EDGE[k][0]], j = a[EDGE[k][1]]; const double *p = x + 3 * i, *r = x + 3 * j;
    double m[3], h = 0; for (int c = 0; c < 3; c++) { m[c] = 0.5 * (p[c] + r[c]); double d = 0.5 * (r[c] - p[c]); h += d * d; }
    h = sqrt(h) + rq;
    for (int l = 0; l < 5; l++) if (s->owne[o] >> l & 1) {
      int e = b[EDGE[l][0]], f = b[EDGE[l][1]];
      if (i == e || i == f || j == e || j == f) continue;
      const double *t = x + 3 * e, *u = x + 3 * f; double g = 0, far = 0;
      for (int c = 0; c < 3; c++) { double d = 0.5 * (u[c] - t[c]), w = 0.5 * (u[c] + t[c]) - m[c]; g += d * d; far += w * w; }
      g = sqrt(g) + h; if (far > g * g) continue;
      int apart = 0;
      for (int c = 0; c < 3; c++) {
        double lo = p[c] < r[c] ? p[c] : r[c], hi = p[c] < r[c] ? r[c] : p[c], lo2 = t[c] < u[c] ? t[c] : u[c], hi2 = t[c] < u[c] ? u[c] : t[c];
        apart |= lo - hi2 > rq || lo2 - hi > rq;
      }
      if (apart) continue;
      consider(s, 1, i, j, e, f);
    }
  }
}

static void detect(Sim *s) {
  for (int i = 0; i < s->n; i++) s->bound[i] = s->gamma * s->rq;
  s->np = 0; s->detections++;
  float *nor = malloc(sizeof(float) * 8 * s->nq);
  for (int q = 0; q < s->nq; q++) {
    int *c = s->quad + 4 * q; SUB(d, s->x + 3 * c[2], s->x + 3 * c[0]); SUB(e, s->x + 3 * c[3], s->x + 3 * c[1]);
    double n[3] = {d[1] * e[2] - d[2] * e[1], d[2] * e[0] - d[0] * e[2], d[0] * e[1] - d[1] * e[0]};
    double l = sqrt(dot(n, n)) + 1e-30; for (int k = 0; k < 3; k++) nor[3 * q + k] = n[k] / l;
    double *D = s->dinv + 4 * q, *E = s->dinv + 4 * (q + s->nq);
    double rest = 1 / fabs(D[0] * D[3] - D[1] * D[2]) + 1 / fabs(E[0] * E[3] - E[1] * E[2]);
    nor[3 * s->nq + q] = l / rest;
    float *ball = nor + 4 * s->nq + 4 * q; double most = 0, mid[3];
    for (int k = 0; k < 3; k++) { mid[k] = 0; for (int j = 0; j < 4; j++) mid[k] += 0.25 * s->x[3 * c[j] + k]; ball[k] = mid[k]; }
    for (int j = 0; j < 4; j++) { SUB(w, s->x + 3 * c[j], mid); double far = dot(w, w); if (far > most) most = far; }
    ball[3] = (sqrt(most) + s->rq) * (sqrt(most) + s->rq);
  }
  quads_near(s, s->rq, near_pair, nor);
  free(nor);
  for (int q = 0; q < s->nq; q++) { /* a quad folded flat along its own diagonal */
    int *c = s->quad + 4 * q;
    if (s->owns[q] >> 1 & 1) consider(s, 0, c[1], c[0], c[2], c[3]);
    if (s->owns[q] >> 3 & 1) consider(s, 0, c[3], c[0], c[1], c[2]);
    if ((s->owne[q] & 5) == 5) consider(s, 1, c[0], c[1], c[2], c[3]);
    if ((s->owne[q] & 10) == 10) consider(s, 1, c[1], c[2], c[3], c[0]);
  }
  memcpy(s->xd, s->x, sizeof(double) * 3 * s->n);
}

/* ---------------------------------------------------------------- constraints */
static inline void membrane(Sim *s, int t, double dt2) {
  const int *c = s->tri + 3 * t; const double *D = s->dinv + 4 * t, *al = s->at + 3 * t;
  double *x0 = s->x + 3 * c[0], *x1 = s->x + 3 * c[1], *x2 = s->x + 3 * c[2];
  double w0 = s->w[c[0]], w1 = s->w[c[1]], w2 = s->w[c[2]];
  if (w0 + w1 + w2 == 0) return;
  for (int k = 0; k < 2; k++) { /* weft, warp */
    double g1 = D[k], g2 = D[2 + k], g0 = -g1 - g2, f[3];
    for (int i = 0; i < 3; i++) f[i] = g0 * x0[i] + g1 * x1[i] + g2 * x2[i];
    double len = sqrt(dot(f, f)); if (len < 1e-9) continue;
    double den = w0 * g0 * g0 + w1 * g1 * g1 + w2 * g2 * g2, a = al[k] / dt2 - den;
    double lam = -(len - 1) / (den + (a > 0 ? a : 0)) / len;
    for (int i = 0; i < 3; i++) {
      double d = lam * f[i]; x0[i] += w0 * g0 * d; x1[i] += w1 * g1 * d; x2[i] += w2 * g2 * d;
    }
  }
  double fu[3], fv[3], a0 = -D[0] - D[2], b0 = -D[1] - D[3];
  for (int i = 0; i < 3; i++) {
    fu[i] = a0 * x0[i] + D[0] * x1[i] + D[2] * x2[i]; fv[i] = b0 * x0[i] + D[1] * x1[i] + D[3] * x2[i];
  }
  double C = dot(fu, fv), G0[3], G1[3], G2[3];
  for (int i = 0; i < 3; i++) {
    G0[i] = a0 * fv[i] + b0 * fu[i]; G1[i] = D[0] * fv[i] + D[1] * fu[i]; G2[i] = D[2] * fv[i] + D[3] * fu[i];
  }
  double den = w0 * dot(G0, G0) + w1 * dot(G1, G1) + w2 * dot(G2, G2), a = al[2] / dt2 - den;
  double lam = -C / (den + (a > 0 ? a : 0) + 1e-30);
  for (int i = 0; i < 3; i++) { x0[i] += w0 * lam * G0[i]; x1[i] += w1 * lam * G1[i]; x2[i] += w2 * lam * G2[i]; }
}

static inline void bending(Sim *s, int b, double dt2) {
  const int *c = s->bi + 9 * b; const double *g = s->bw + 9 * b; double C[3] = {0, 0, 0}, den = 0;
  for (int k = 0; k < 9; k++) {
    const double *x = s->x + 3 * c[k]; C[0] += g[k] * x[0]; C[1] += g[k] * x[1]; C[2] += g[k] * x[2];
    den += s->w[c[k]] * g[k] * g[k];
  }
  if (den == 0) return;
  double a = s->ba[b] / dt2 - den, lam = -1 / (den + (a > 0.4 * den ? a : 0.4 * den));
  for (int k = 0; k < 9; k++) {
    double *x = s->x + 3 * c[k], m = s->w[c[k]] * g[k] * lam;
    x[0] += m * C[0]; x[1] += m * C[1]; x[2] += m * C[2];
  }
}

static void contacts(Sim *s, int step) {
  double r = s->r;
  for (int k = 0; k < s->np; k++) {
    const Pair *q = s->pair + k;
    if (q->d > 1.3 * r && (step + k) % 3) continue; /* what was far is looked at less often */
    double b[4], n[3], d = pair_state(s, q, b, n);
    if (d >= r || d < 1e-9) continue;
    double W = 0; for (int j = 0; j < 4; j++) W += s->w[q->i[j]] * b[j] * b[j];
    if (W == 0) continue;
    double push = (d < 0.4 * r ? 0.8 : 0.5) * (r - d), rel[3] = {0, 0, 0};
    for (int c = 0; c < 3; c++) n[c] /= d;
    for (int j = 0; j < 4; j++) for (int c = 0; c < 3; c++) rel[c] += b[j] * (s->x[3 * q->i[j] + c] - s->p[3 * q->i[j] + c]);
    double rn = dot(rel, n), stop = rn < 0 ? -rn : 0; if (stop > push) stop = push;
    double shift = push - stop, tl = 0, tan[3];
    for (int c = 0; c < 3; c++) { tan[c] = rel[c] - rn * n[c]; tl += tan[c] * tan[c]; }
    tl = sqrt(tl); double f = tl > 1e-12 ? s->mu * push / tl : 0; if (f > 0.5) f = 0.5;
    for (int j = 0; j < 4; j++) {
      double m = s->w[q->i[j]] * b[j] / W, *x = s->x + 3 * q->i[j], *p = s->p + 3 * q->i[j];
      for (int c = 0; c < 3; c++) { x[c] += m * (push * n[c] - f * tan[c]); p[c] += m * shift * n[c]; }
    }
  }
}

static double field(const Sim *s, const double *x, double *g) {
  int i[3]; double f[3];
  for (int k = 0; k < 3; k++) {
    double y = (x[k] - s->co[k]) / s->cs; if (y < 0 || y >= s->cn[k] - 1) return 1e9;
    i[k] = (int)y; f[k] = y - i[k];
  }
  long sy = s->cn[2], sx = (long)s->cn[1] * s->cn[2]; const float *d = s->cd + i[0] * sx + i[1] * sy + i[2];
  double v[2][2][2];
  for (int a = 0; a < 2; a++) for (int b = 0; b < 2; b++) for (int c = 0; c < 2; c++) v[a][b][c] = d[a * sx + b * sy + c];
#define L(a, b, t) ((a) + ((b) - (a)) * (t))
  double z00 = L(v[0][0][0], v[0][0][1], f[2]), z01 = L(v[0][1][0], v[0][1][1], f[2]);
  double z10 = L(v[1][0][0], v[1][0][1], f[2]), z11 = L(v[1][1][0], v[1][1][1], f[2]);
  double y0 = L(z00, z01, f[1]), y1 = L(z10, z11, f[1]);
  g[0] = (y1 - y0) / s->cs; g[1] = L(z01 - z00, z11 - z10, f[0]) / s->cs;
  double e0 = L(v[0][0][1] - v[0][0][0], v[0][1][1] - v[0][1][0], f[1]), e1 = L(v[1][0][1] - v[1][0][0], v[1][1][1] - v[1][1][0], f[1]);
  g[2] = L(e0, e1, f[0]) / s->cs;
  return L(y0, y1, f[0]);
}

static void collide(Sim *s) {
  if (!s->cd) return;
  for (int i = 0; i < s->n; i++) if (s->w[i] > 0) {
    double *x = s->x + 3 * i, *p = s->p + 3 * i, g[3] = {0, 0, 0}, d = field(s, x, g) - s->crad;
    if (d >= 0) continue;
    double l = sqrt(dot(g, g)); if (l < 1e-6) continue;
    for (int c = 0; c < 3; c++) g[c] /= l;
    double push = -d < 2e-3 ? -d : 2e-3, rel[3], rn;
    for (int c = 0; c < 3; c++) rel[c] = x[c] - p[c];
    rn = dot(rel, g); double stop = rn < 0 ? -rn : 0; if (stop > push) stop = push;
    double tl = 0, tan[3]; for (int c = 0; c < 3; c++) { tan[c] = rel[c] - rn * g[c]; tl += tan[c] * tan[c]; }
    tl = sqrt(tl); double f = tl > 1e-12 ? s->cmu * push / tl : 0; if (f > 1) f = 1;
    for (int c = 0; c < 3; c++) { x[c] += push * g[c] - f * tan[c]; p[c] += (push - stop) * g[c]; }
  }
}

/* substeps of dt; drag 1/s; calm 0-1: how far velocities go to the mean of their neighbours;
   most: longest run between two searches. Returns the greatest speed at the end. */
double sim_run(Sim *s, int steps, double dt, double drag, double calm, int most, const double *grav) {
  double dt2 = dt * dt, slow = exp(-drag * dt); int since = most;
  for (int step = 0; step < steps; step++) {
    if (since >= most) { detect(s); since = 0; }
    since++;
    for (int i = 0; i < s->n; i++) {
      double *x = s->x + 3 * i, *v = s->v + 3 * i, *p = s->p + 3 * i;
      for (int c = 0; c < 3; c++) {
        p[c] = x[c]; if (s->w[i] > 0) { v[c] = (v[c] + grav[c] * dt) * slow; x[c] += v[c] * dt; } else v[c] = 0;
      }
    }
    if (step & 1) for (int t = 0; t < s->nt; t++) membrane(s, t, dt2);
    else for (int t = s->nt - 1; t >= 0; t--) membrane(s, t, dt2);
    if (step & 2) for (int b = 0; b < s->nb; b++) bending(s, b, dt2);
    else for (int b = s->nb - 1; b >= 0; b--) bending(s, b, dt2);
    for (int k = 0; k < s->ns; k++) {
      double *a = s->x + 3 * s->si[3 * k], *b = s->x + 3 * s->si[3 * k + 1], wa = s->w[s->si[3 * k]], wb = s->w[s->si[3 * k + 1]];
      SUB(d, b, a); double l = sqrt(dot(d, d)), C = l - s->sr[k];
      if (wa + wb == 0 || l < 1e-9 || (C < 0 && s->si[3 * k + 2])) continue;
      double lam = C / (wa + wb + s->sa[k] / dt2) / l;
      for (int c = 0; c < 3; c++) { a[c] += wa * lam * d[c]; b[c] -= wb * lam * d[c]; }
    }
    for (int k = 0; k < s->nl; k++) {
      double *a = s->x + 3 * s->la[2 * k], *b = s->x + 3 * s->la[2 * k + 1];
      if (s->w[s->la[2 * k + 1]] == 0) continue;
      SUB(d, b, a); double l = sqrt(dot(d, d)); if (l <= s->ll[k]) continue;
      double f = 0.5 * (1 - s->ll[k] / l); for (int c = 0; c < 3; c++) b[c] -= f * d[c];
    }
    contacts(s, step); collide(s);
    int hit = 0;
    for (int i = 0; i < s->n; i++) {
      double *x = s->x + 3 * i, *o = s->xd + 3 * i; SUB(d, x, o); double l = dot(d, d), b = s->bound[i];
      double *v = s->v + 3 * i, *p = s->p + 3 * i, part = 1 / dt;
      if (l > b * b) { l = b / sqrt(l); for (int c = 0; c < 3; c++) x[c] = o[c] + d[c] * l; hit += b > 0.5 * s->gamma * s->rq; part = 0.3 / dt; }
      double w[3] = {(x[0] - p[0]) * part, (x[1] - p[1]) * part, (x[2] - p[2]) * part}, ww = dot(w, w);
      ww = ww > 4 ? 2 / sqrt(ww) : 1; /* nothing that hangs falls faster than 2 m/s */
      for (int c = 0; c < 3; c++) v[c] = w[c] * ww;
    }
    s->clamped += hit; if (hit > s->n / 80 + 2 && since > 3) since = most;
    if (calm > 0) {
      memset(s->acc, 0, sizeof(double) * 3 * s->n);
      for (int q = 0; q < s->nq; q++) { int *c = s->quad + 4 * q;
        for (int k = 0; k < 4; k++) { double *a = s->acc + 3 * c[k], *b = s->v + 3 * c[(k + 1) & 3], *e = s->v + 3 * c[(k + 3) & 3];
          a[0] += b[0] + e[0]; a[1] += b[1] + e[1]; a[2] += b[2] + e[2]; } }
      for (int i = 0; i < s->n; i++) if (s->w[i] > 0) for (int c = 0; c < 3; c++)
        s->v[3 * i + c] += calm * (s->acc[3 * i + c] / s->deg[i] - s->v[3 * i + c]);
    }
  }
  double top = 0;
  for (int i = 0; i < s->n; i++) { double l = dot(s->v + 3 * i, s->v + 3 * i); if (l > top) top = l; }
  return sqrt(top);
}

/* ---------------------------------------------------------------- edges through triangles */
static double volume(const double *a, const double *b, const double *c, const double *d) {
  SUB(u, b, a); SUB(v, c, a); SUB(w, d, a);
  return u[0] * (v[1] * w[2] - v[2] * w[1]) - u[1] * (v[0] * w[2] - v[2] * w[0]) + u[2] * (v[0] * w[1] - v[1] * w[0]);
}
static int through(const double *p, const double *q, const double *a, const double *b, const double *c) {
  double s = volume(a, b, c, p), t = volume(a, b, c, q); if (s * t >= 0) return 0;
  double e = volume(p, q, a, b), f = volume(p, q, b, c), g = volume(p, q, c, a);
  return (e > 0 && f > 0 && g > 0) || (e < 0 && f < 0 && g < 0);
}
static void crossing(Sim *s, int q, int o, void *with) {
  unsigned char *mark = with;
  for (int turn = 0; turn < 2; turn++, q ^= o, o ^= q, q ^= o) {
    const int *a = s->quad + 4 * q, *b = s->quad + 4 * o;
    for (int k = 0; k < 5; k++) if (s->owne[q] >> k & 1) {
      int i = a[EDGE[k][0]], j = a[EDGE[k][1]];
      for (int t = 0; t < 2; t++) {
        int c[3] = {b[0], b[1 + t], b[2 + t]};
        if (i == c[0] || i == c[1] || i == c[2] || j == c[0] || j == c[1] || j == c[2]) continue;
        if (through(s->x + 3 * i, s->x + 3 * j, s->x + 3 * c[0], s->x + 3 * c[1], s->x + 3 * c[2])) mark[5 * q + k] = 1;
      }
    }
  }
}
/* marks 5 nq edges (of a quad: 01, 12, 23, 30, 02) that pierce a triangle they have no corner of */
void sim_crossings(Sim *s, unsigned char *mark) { memset(mark, 0, 5 * (size_t)s->nq); quads_near(s, 1e-6, crossing, mark); }

/* ---------------------------------------------------------------- openness to the room */
typedef struct { int n[3], *start, *list; double o[3], cell; const double *x; const int *tri; int *stamp; } Rays;

static int ray_hit(Rays *g, const double *o, const double *d, int skip, int id) {
  /* nearest triangle met, or -1 */
  double t0 = 0; int c[3], st[3]; double next[3], dl[3], best = 1e30; int found = -1;
  double t1 = 1e30;
  for (int k = 0; k < 3; k++) {
    double lo = g->o[k], hi = g->o[k] + g->cell * g->n[k];
    if (fabs(d[k]) < 1e-12) { if (o[k] < lo || o[k] > hi) return -1; continue; }
    double a = (lo - o[k]) / d[k], b = (hi - o[k]) / d[k]; if (a > b) { double y = a; a = b; b = y; }
    if (a > t0) t0 = a;
    if (b < t1) t1 = b;
  }
  if (t0 > t1) return -1;
  for (int k = 0; k < 3; k++) {
    double y = (o[k] + d[k] * t0 - g->o[k]) / g->cell; c[k] = (int)y; if (c[k] < 0) c[k] = 0; if (c[k] >= g->n[k]) c[k] = g->n[k] - 1;
    st[k] = d[k] > 0 ? 1 : -1; dl[k] = fabs(d[k]) < 1e-12 ? 1e30 : g->cell / fabs(d[k]);
    next[k] = fabs(d[k]) < 1e-12 ? 1e30 : (g->o[k] + g->cell * (c[k] + (d[k] > 0)) - o[k]) / d[k];
  }
  for (;;) {
    long at = ((long)c[0] * g->n[1] + c[1]) * g->n[2] + c[2];
    for (int j = g->start[at]; j < g->start[at + 1]; j++) {
      int t = g->list[j]; if (g->stamp[t] == id) continue; g->stamp[t] = id;
      const int *v = g->tri + 3 * t; if (v[0] == skip || v[1] == skip || v[2] == skip) continue;
      const double *A = g->x + 3 * v[0]; SUB(e, g->x + 3 * v[1], A); SUB(f, g->x + 3 * v[2], A);
      double h[3] = {d[1] * f[2] - d[2] * f[1], d[2] * f[0] - d[0] * f[2], d[0] * f[1] - d[1] * f[0]}, det = dot(e, h);
      if (fabs(det) < 1e-18) continue;
      SUB(r, o, A); double u = dot(r, h) / det; if (u < 0 || u > 1) continue;
      double q[3] = {r[1] * e[2] - r[2] * e[1], r[2] * e[0] - r[0] * e[2], r[0] * e[1] - r[1] * e[0]};
      double w = dot(d, q) / det; if (w < 0 || u + w > 1) continue;
      double far = dot(f, q) / det; if (far > 1e-7 && far < best) { best = far; found = t; }
    }
    int k = next[0] < next[1] ? (next[0] < next[2] ? 0 : 2) : (next[1] < next[2] ? 1 : 2);
    if (best <= next[k]) return found;
    c[k] += st[k]; if (c[k] < 0 || c[k] >= g->n[k]) return found; next[k] += dl[k];
  }
}

/* For m points with normals: share of cosine-weighted rays that go free, and that meet triangles
   numbered from `body` on first. skip: a vertex whose triangles are not met (-1 none). */
void openness(int nx, const double *x, int nt, const int *tri, int body, int m, const double *at,
              const double *nor, const int *skip, int nr, const double *dirs, double cell, double *open, double *onbody) {
  Rays g; g.x = x; g.tri = tri; g.cell = cell; double hi[3] = {-1e9, -1e9, -1e9}; (void)nx;
  for (int k = 0; k < 3; k++) g.o[k] = 1e9;
  for (long i = 0; i < 3L * nt; i++) for (int k = 0; k < 3; k++) { double y = x[3 * tri[i] + k]; if (y < g.o[k]) g.o[k] = y; if (y > hi[k]) hi[k] = y; }
  long total = 1; for (int k = 0; k < 3; k++) { g.o[k] -= 1e-4; g.n[k] = (int)((hi[k] + 1e-4 - g.o[k]) / cell) + 1; total *= g.n[k]; }
  g.start = calloc(total + 2, sizeof(int)); g.list = NULL; g.stamp = calloc(nt, sizeof(int));
  for (int pass = 0; pass < 2; pass++) {
    for (int t = 0; t < nt; t++) {
      int a[3], b[3];
      for (int k = 0; k < 3; k++) {
        double lo = 1e9, up = -1e9; for (int j = 0; j < 3; j++) { double y = x[3 * tri[3 * t + j] + k]; if (y < lo) lo = y; if (y > up) up = y; }
        a[k] = (int)((lo - g.o[k]) / cell); b[k] = (int)((up - g.o[k]) / cell); if (b[k] >= g.n[k]) b[k] = g.n[k] - 1;
      }
      for (int i = a[0]; i <= b[0]; i++) for (int j = a[1]; j <= b[1]; j++) for (int k = a[2]; k <= b[2]; k++) {
        long c = ((long)i * g.n[1] + j) * g.n[2] + k; if (pass == 0) g.start[c + 2]++; else g.list[g.start[c + 1]++] = t;
      }
    }
    if (pass == 0) { for (long c = 0; c < total; c++) g.start[c + 2] += g.start[c + 1]; g.list = malloc(sizeof(int) * (g.start[total + 1] + 1)); }
  }
  unsigned seed = 12345; int id = 0;
  for (int i = 0; i < m; i++) {
    const double *n = nor + 3 * i; double u[3], v[3], o[3]; int k = fabs(n[0]) < 0.6 ? 0 : 1;
    double e[3] = {0, 0, 0}; e[k] = 1; double en = dot(e, n); for (int c = 0; c < 3; c++) u[c] = e[c] - en * n[c];
    double l = sqrt(dot(u, u)); for (int c = 0; c < 3; c++) u[c] /= l;
    v[0] = n[1] * u[2] - n[2] * u[1]; v[1] = n[2] * u[0] - n[0] * u[2]; v[2] = n[0] * u[1] - n[1] * u[0];
    seed = seed * 1664525u + 1013904223u; double turn = (seed >> 8) / 16777216.0 * 6.283185307179586, ct = cos(turn), stn = sin(turn);
    int free_ = 0, bod = 0; for (int c = 0; c < 3; c++) o[c] = at[3 * i + c] + 3e-4 * n[c];
    for (int r = 0; r < nr; r++) {
      const double *q = dirs + 3 * r; double a = q[0] * ct - q[1] * stn, b = q[0] * stn + q[1] * ct, d[3];
      for (int c = 0; c < 3; c++) d[c] = a * u[c] + b * v[c] + q[2] * n[c];
      int t = ray_hit(&g, o, d, skip[i], ++id); if (t < 0) free_++; else if (t >= body) bod++;
    }
    open[i] = (double)free_ / nr; onbody[i] = (double)bod / nr;
  }
  free(g.start); free(g.list); free(g.stamp);
}
