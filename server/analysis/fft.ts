/** Fast Fourier transform in place (radix 2, decimation in time); the length must be a power of two. */
export class Fft {
  private readonly cos: Float64Array;
  private readonly sin: Float64Array;
  private readonly swap: Uint32Array;

  constructor(readonly size: number) {
    if (size < 2 || (size & (size - 1)) !== 0) throw new RangeError('the length must be a power of two');
    this.cos = new Float64Array(size / 2);
    this.sin = new Float64Array(size / 2);
    for (let i = 0; i < size / 2; i++) {
      this.cos[i] = Math.cos((2 * Math.PI * i) / size);
      this.sin[i] = -Math.sin((2 * Math.PI * i) / size);
    }
    this.swap = new Uint32Array(size);
    const bits = Math.log2(size);
    for (let i = 0; i < size; i++) {
      let r = 0;
      for (let b = 0; b < bits; b++) r |= ((i >> b) & 1) << (bits - 1 - b);
      this.swap[i] = r;
    }
  }

  transform(re: Float64Array, im: Float64Array): void {
    const { size, cos, sin, swap } = this;
    for (let i = 0; i < size; i++) {
      const j = swap[i]!;
      if (j <= i) continue;
      const a = re[i]!;
      re[i] = re[j]!;
      re[j] = a;
      const b = im[i]!;
      im[i] = im[j]!;
      im[j] = b;
    }
    for (let half = 1; half < size; half *= 2) {
      const stride = size / (2 * half);
      for (let start = 0; start < size; start += 2 * half)
        for (let k = 0, w = 0; k < half; k++, w += stride) {
          const i = start + k;
          const j = i + half;
          const c = cos[w]!;
          const s = sin[w]!;
          const x = re[j]! * c - im[j]! * s;
          const y = re[j]! * s + im[j]! * c;
          re[j] = re[i]! - x;
          im[j] = im[i]! - y;
          re[i] = re[i]! + x;
          im[i] = im[i]! + y;
        }
    }
  }
}
