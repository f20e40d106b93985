// The normal distribution. Rational approximations of W. J. Cody (1969), "Rational Chebyshev
// approximations for the error function", Mathematics of Computation 23, 631-637: 16 digits.
const A = [2.2352520354606839287, 161.02823106855587881, 1067.6894854603709582, 18154.981253343561249, 0.065682337918207449113];
const B = [47.20258190468824187, 976.09855173777669322, 10260.932208618978205, 45507.789335026729956];
const C = [0.39894151208813466764, 8.8831497943883759412, 93.506656132177855979, 597.27027639480026226, 2494.5375852903726711, 6848.1904505362823326, 11602.651437647350124, 9842.7148383839780218, 1.0765576773720192317e-8];
const D = [22.266688044328115691, 235.38790178262499861, 1519.377599407554805, 6485.558298266760755, 18615.571640885098091, 34900.952721145977266, 38912.003286093271411, 19685.429676859990727];
const P = [0.21589853405795699, 0.1274011611602473639, 0.022235277649127974, 0.001421619193227893466, 2.9112874951168792e-5, 0.02307344176494017303];
const Q = [1.28426009614491121, 0.468238212480865118, 0.0659881378689285515, 0.00378239633202758244, 7.29751555083966205e-5];
const SQRT_2PI_INVERSE = 0.39894228040143267794;

export const density = (z) => SQRT_2PI_INVERSE * Math.exp(-0.5 * z * z);

// Chance of a standard normal value under z.
export function below(z) {
  const y = Math.abs(z);
  if (y <= 0.67448975) {
    const s = z * z;
    const top = ((A[4] * s + A[0]) * s + A[1]) * s + A[2];
    const foot = ((s + B[0]) * s + B[1]) * s + B[2];
    return 0.5 + (z * (top * s + A[3])) / (foot * s + B[3]);
  }
  let tail;
  if (y <= 5.656854249492381) {
    let top = C[8] * y, foot = y;
    for (let i = 0; i < 7; i++) {
      top = (top + C[i]) * y;
      foot = (foot + D[i]) * y;
    }
    tail = (Math.exp(-0.5 * y * y) * (top + C[7])) / (foot + D[7]);
  } else if (y < 39) {
    const s = 1 / (y * y);
    let top = P[5] * s, foot = s;
    for (let i = 0; i < 4; i++) {
      top = (top + P[i]) * s;
      foot = (foot + Q[i]) * s;
    }
    tail = (Math.exp(-0.5 * y * y) * (SQRT_2PI_INVERSE - (s * (top + P[4])) / (foot + Q[4]))) / y;
  } else tail = 0;
  return z > 0 ? 1 - tail : tail;
}
