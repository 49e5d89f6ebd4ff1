/** What the texts of every language do with the words they are given. */

export const count = (n: number, one: string, many: string): string =>
  `${n} ${n === 1 ? one : many}`;

/** A title inside a sentence; an abbreviation at its start, such as DC or R-32, keeps its letters. */
export function lower(title: string): string {
  const [word = ""] = title.split(" ");
  return /[\p{Lu}\d]/u.test(word.slice(1)) ? title : title.charAt(0).toLowerCase() + title.slice(1);
}
