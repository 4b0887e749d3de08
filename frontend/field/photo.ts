// A photo before it is kept: made smaller here, so that what waits for signal stays small.

export async function shrink(file: File, side: number): Promise<{ data: ArrayBuffer; sha256: string }> {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, side / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d")?.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const made = await new Promise<Blob | null>((done) => canvas.toBlob(done, "image/jpeg", 0.8));
  if (made === null) throw new Error("the phone could not make the photo smaller");
  const data = await made.arrayBuffer();
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", data));
  return { data, sha256: Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("") };
}
