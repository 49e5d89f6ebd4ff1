/** Where in the app one is, as a path. Every place has an address of its own, also without signal. */

/** Where a calculator or step stands: alone, or in a visit. */
export type Route =
  | { at: "visits" }
  | { at: "new-visit" }
  | { at: "visit"; visit: string }
  | { at: "checklist"; visit: string; checklist: string }
  | { at: "step"; visit: string; checklist: string; step: string }
  | { at: "sign"; visit: string; checklist?: string; step?: string }
  | { at: "report"; visit: string }
  | { at: "entry"; visit: string; record: string }
  | { at: "calculators"; visit?: string }
  | { at: "calculator"; visit?: string; calculator: string; member?: string }
  | { at: "result"; visit?: string; calculator: string; quantity: string; member?: string }
  | { at: "handbook"; chapter?: string }
  | { at: "phone" }
  | { at: "parked" }
  | { at: "log" }
  | { at: "enrol" }
  | { at: "nowhere" };

export function pathOf(route: Route): string {
  switch (route.at) {
    case "visits":
      return "/";
    case "new-visit":
      return "/visits/new";
    case "visit":
      return path("visits", route.visit);
    case "checklist":
      return path("visits", route.visit, "lists", route.checklist);
    case "step":
      return path("visits", route.visit, "lists", route.checklist, route.step);
    case "sign": {
      const { checklist, step } = route;
      return path("visits", route.visit, "sign") + query({ checklist, step });
    }
    case "entry":
      return path("visits", route.visit, "entries", route.record);
    case "report":
      return path("visits", route.visit, "report");
    case "calculators":
      return route.visit ? path("visits", route.visit, "calculators") : "/calculators";
    case "calculator":
      return calculatorPath(route) + query({ member: route.member });
    case "result":
      return calculatorPath(route) + path(route.quantity) + query({ member: route.member });
    case "handbook":
      return route.chapter === undefined ? "/handbook" : path("handbook", route.chapter);
    case "parked":
      return "/phone/parked";
    case "log":
      return "/phone/log";
    default:
      return `/${route.at}`;
  }
}

export function routeOf({ pathname, search }: { pathname: string; search: string }): Route {
  const parts = pathname.split("/").filter(Boolean).map(decoded);
  const given = new URLSearchParams(search);
  const optional = <K extends string>(key: K): { [key in K]?: string } => {
    const value = given.get(key);
    return (value === null ? {} : { [key]: value }) as { [key in K]?: string };
  };
  const [place, first, second, third, fourth] = parts;
  if (place === undefined) return { at: "visits" };
  if (place === "visits" && first !== undefined) {
    const visit = first;
    if (visit === "new") return { at: "new-visit" };
    if (second === undefined) return { at: "visit", visit };
    if (second === "sign")
      return { at: "sign", visit, ...optional("checklist"), ...optional("step") };
    if (second === "lists" && third !== undefined) {
      const checklist = third;
      if (fourth === undefined) return { at: "checklist", visit, checklist };
      return { at: "step", visit, checklist, step: fourth };
    }
    if (second === "entries" && third !== undefined) return { at: "entry", visit, record: third };
    if (second === "report") return { at: "report", visit };
    if (second === "calculators")
      return inCalculators(third, fourth, { visit, ...optional("member") });
  }
  if (place === "calculators") return inCalculators(first, second, optional("member"));
  if (place === "handbook")
    return { at: "handbook", ...(first === undefined ? {} : { chapter: first }) };
  if (place === "phone") {
    if (first === "parked") return { at: "parked" };
    if (first === "log") return { at: "log" };
    return { at: "phone" };
  }
  return { at: place === "enrol" ? "enrol" : "nowhere" };
}

/** An address that somebody mistyped leads nowhere; it must not stop the app. */
function decoded(part: string): string {
  try {
    return decodeURIComponent(part);
  } catch {
    return part;
  }
}

function inCalculators(
  calculator: string | undefined,
  quantity: string | undefined,
  where: { visit?: string; member?: string },
): Route {
  if (calculator === undefined) {
    return { at: "calculators", ...(where.visit === undefined ? {} : { visit: where.visit }) };
  }
  if (quantity === undefined) return { at: "calculator", calculator, ...where };
  return { at: "result", calculator, quantity, ...where };
}

function calculatorPath({ visit, calculator }: { visit?: string; calculator: string }): string {
  const start = visit === undefined ? "" : path("visits", visit);
  return start + path("calculators", calculator);
}

function path(...parts: string[]): string {
  return parts.map((part) => `/${encodeURIComponent(part)}`).join("");
}

function query(parts: Record<string, string | undefined>): string {
  const given = Object.entries(parts).filter(
    (each): each is [string, string] => each[1] !== undefined,
  );
  return given.length === 0 ? "" : `?${new URLSearchParams(given)}`;
}
