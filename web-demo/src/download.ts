/** Gives something to the browser's downloads. */

export function download(what: Blob, name: string): void {
  const address = URL.createObjectURL(what);
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
  // The download has its own hold on the data by then.
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
