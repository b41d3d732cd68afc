/** Numbers and words for people. */

/** Signed, with a true minus: +0.190. A number that rounds to 0 has no sign. */
export function signed(n: number, decimals = 2): string {
  const digits = Math.abs(n).toFixed(decimals);
  if (Number(digits) === 0) return digits;
  return (n < 0 ? "−" : "+") + digits;
}

export function bytes(n: number): string {
  if (n < 1000) return `${n} bytes`;
  const [unit, size] = n < 1e6 ? ["KB", 1e3] : n < 1e9 ? ["MB", 1e6] : ["GB", 1e9];
  return `${(n / Number(size)).toFixed(n / Number(size) < 10 ? 2 : 0)} ${unit}`;
}

export function percent(share: number, decimals = 1): string {
  return `${(100 * share).toFixed(decimals)} %`;
}

/** 1,234,567 */
export function count(n: number): string {
  return n.toLocaleString("en-GB");
}

export function plural(n: number, one: string, many = `${one}s`): string {
  return `${count(n)} ${n === 1 ? one : many}`;
}
