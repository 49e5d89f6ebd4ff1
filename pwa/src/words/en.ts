/** Every text of the phone app, in English. Another language is another file with the same keys. */
import type { Refusal } from "../bundle/update.ts";
import type { Alarm } from "../ledger/ledger.ts";

const count = (n: number, one: string, many: string): string => `${n} ${n === 1 ? one : many}`;

export const words = {
  name: "Kneewall",
  saved: "Saved on this phone.",
  places: { label: "Places", visits: "Visits", calculators: "Calculators", phone: "This phone" },
  back: "Back",
  cancel: "Cancel",
  loading: "Opening the book…",

  strip: {
    unsent: (n: number): string => (n === 0 ? "All sent" : `${n} not sent`),
    notEnrolled: "Not enrolled",
    lastContact: (time: string): string => `last at office ${time}`,
    noContact: "not at the office yet",
    rules: (n: number): string => `Rules ${n}`,
    noRules: "No rules yet",
  },

  store: {
    blocked: "Another tab of Kneewall is open and out of date. Close it.",
    full: "Not saved: this phone is out of room. Delete photos or apps, then save again.",
    notSaved: "Not saved. What you typed is still here. Try again, or restart Kneewall.",
    gone: "The store on this phone does not open.",
    goneHelp:
      "Nothing can be recorded until it does. Close all other tabs of Kneewall and start it again. Do not clear the browser's data: unsent records are in it.",
    again: "Start again",
  },

  alarm: {
    title: "Records are missing on this phone",
    text: ({ what, seq, found }: Alarm): string =>
      what === "emptied"
        ? `The store was emptied. The last record written had number ${seq}. Ask the office what arrived.`
        : `${count(seq, "record was", "records were")} written, ${found} found. Ask the office what arrived.`,
    forOffice: ({ what, seq, found }: Alarm): string =>
      what === "emptied"
        ? `The phone's store was emptied. Its last record had number ${seq}.`
        : `The phone's store is damaged: record ${seq} was written, ${found} found.`,
  },

  release: {
    failed: "A new release of the app could not be stored on the phone. The old one goes on.",
    waiting: "A new release is ready.",
    takeOver: "Start the new release",
  },

  rules: {
    switched: (n: number): string => `Rules ${n} are in use for new visits.`,
    refused: (n: number, refusal: Refusal): string => {
      switch (refusal.why) {
        case "older":
          return `Rules ${n} are older than rules ${refusal.current} on this phone and are not used.`;
        case "format":
          return `Rules ${n} are of format ${refusal.format}; this app reads format ${refusal.known}. Update the app.`;
        case "app":
          return `Rules ${n} need release ${refusal.needs} of the app; this is ${refusal.app}. Update the app.`;
        case "size":
        case "hash":
          return `Rules ${n} did not arrive whole. They are fetched again at the next contact.`;
        case "unreadable":
          return `Rules ${n} cannot be read by this app and are not used. ${refusal.detail}`;
        case "self-test": {
          const { example, id, expected, found } = refusal.fault;
          return `Rules ${n} failed their test on this phone and are not used: in “${example}”, ${id} should be ${expected} and came out as ${found}.`;
        }
      }
    },
  },
} as const;
