/** A file for the person: by the share sheet where there is one, else as a download. */

/** Must be called at a press: browsers allow neither without one. Returns how it left. */
export async function offerFile(
  name: string,
  parts: readonly string[],
  type = "text/plain",
): Promise<"shared" | "downloaded" | "not"> {
  const file = new File([...parts], name, { type });
  const data: ShareData = { files: [file] };
  if (matchMedia("(pointer: coarse)").matches && navigator.canShare?.(data)) {
    try {
      await navigator.share(data);
      return "shared";
    } catch (error) {
      // The person closed the sheet; anything else is tried as a download.
      if (error instanceof DOMException && error.name === "AbortError") return "not";
    }
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(file);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  return "downloaded";
}
