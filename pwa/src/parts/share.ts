/** Files for the person: by the share sheet where there is one, else as a download. */

/** Must be called at a press: browsers allow neither without one. Returns how it left. */
export async function offerFiles(...files: File[]): Promise<"shared" | "downloaded" | "not"> {
  const data: ShareData = { files };
  if (matchMedia("(pointer: coarse)").matches && navigator.canShare?.(data)) {
    try {
      await navigator.share(data);
      return "shared";
    } catch (error) {
      // The person closed the sheet; anything else is tried as a download.
      if (error instanceof DOMException && error.name === "AbortError") return "not";
    }
  }
  for (const file of files) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file);
    link.download = file.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  }
  return "downloaded";
}

export function textFile(name: string, parts: readonly string[], type = "text/plain"): File {
  return new File([...parts], name, { type });
}
