/** Every text of the phone app, in English. Another language is another file with the same keys. */
import type { Refusal } from "../bundle/update.ts";
import type { Alarm } from "../ledger/schema.ts";
import { count, lower } from "./shape.ts";

const MONTHS = "Jan Feb Mar Apr May June July Aug Sep Oct Nov Dec".split(" ");

export const en = {
  name: "Kneewall",
  saved: "saved",
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
    seen: "I know",
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
    switched: (n: number): string => `new rules: ${n}`,
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
          if (!id) return `Rules ${n} are not used: “${example}” cannot be computed here. ${found}`;
          return `Rules ${n} failed their test on this phone and are not used: in “${example}”, ${id} should be ${expected} and came out as ${found}.`;
        }
      }
    },
  },

  date: (iso: string): string => {
    const [year, month, day] = iso.split("-").map(Number);
    return `${day} ${MONTHS[month! - 1]} ${year}`;
  },
  /** A day, its year only where it is another than this. */
  day: (iso: string, now = new Date()): string => {
    const date = en.date(iso);
    return iso.startsWith(`${now.getFullYear()}-`) ? date.slice(0, -5) : date;
  },

  ofMember: (label: string, member: string): string => `${label}, ${member}`,

  field: {
    yes: "Yes",
    no: "No",
    none: "none",
    choose: "Choose…",
    sign: (label: string): string => `Plus or minus: ${label}`,
    switchUnit: (label: string, now: string, other: string): string =>
      `${label} is in ${now}. Change to ${other}`,
    read: (read: string, other: string): string => (other ? `= ${read} (${other})` : `= ${read}`),
    default: (value: string): string => `Nothing entered: ${value} is used.`,
    emptied: "Emptied. Keep it to take the old value out.",
    unusual: (low: string, high: string): string =>
      `Not used yet: this is usually ${low} to ${high}. Look again.`,
    sure: (value: string): string => `${value} is right`,
    take: (value: string): string => `Take ${value}`,
    takeIt: "Take it",
    foundBy: (calculator: string): string => `found by ${calculator}`,
    finds: (calculator: string, value: string): string => `${calculator} finds ${value}`,
    asFoundBy: (calculator: string): string => `as found by ${calculator}`,
    today: (day: string): string => `today, ${en.day(day)}`,
    row: (n: number): string => `Entry ${n}`,
    rowOf: (n: number, column: string): string => `Entry ${n}, ${column}`,
    kept: (time: string): string => `kept ${time}`,
    keptBefore: (date: string): string => `from ${date}`,
    lastTime: (value: string, day: string): string => `last time ${value}, ${day}`,
    baseline: (value: string, day: string): string => `when put into service ${value}, ${day}`,
    conflict: (other: string): string => `Another phone says ${other}.`,
  },

  reading: {
    number: "Not a number. Write it like 12.5, 12,5 or 3/8.",
    grouping: (plain: string, decimal: string): string =>
      `This could be ${plain} or ${decimal}. Write it without the mark for thousands.`,
    unit: (unit: string): string =>
      unit
        ? `The unit does not fit. Write a number alone, or in ${unit}.`
        : "Write a number alone.",
    limits: (low: string, high: string): string => `Not taken: it can only be ${low} to ${high}.`,
    oneOf: (values: string): string => `It can only be ${values}.`,
    choice: "Not in the list. Choose one.",
    flag: "Yes or no.",
    date: "Not a date. Write it like 2026-11-25.",
    count: "A whole number, counted.",
    series: "Each entry needs both figures.",
    "series-twice": "Two entries stand at the same time.",
  },

  unknown: {
    dots: "…",
    figure: "(not known)",
    none: "—",
    missing: "Not known yet",
    outside: "Outside what the rules cover",
    when: "Does not apply here",
    "no-option": "The rules do not know this value",
    below: "Below the table",
    above: "Above the table",
    aTable: "the table",
    limits: (label: string, edge: string): string => `${label} would be past ${edge}`,
    edge: {
      below: (table: string, edge: string): string => `Below the first entry of ${table}, ${edge}`,
      above: (table: string, edge: string): string => `Past the last entry of ${table}, ${edge}`,
    },
    "no-row": (table: string): string => `Not listed in ${table}`,
    "no-row-satisfies": (table: string): string => `Nothing in ${table} is enough`,
    "empty-cell": (table: string): string => `${table} does not give it`,
    "division-by-zero": "Cannot be computed: a division by zero",
    "fractional-power-of-negative": "Cannot be computed from a negative number",
    "root-of-negative": "Cannot be computed: the root of a negative number",
    "log-of-nothing": "Cannot be computed: the logarithm of zero or less",
    overflow: "Cannot be computed: the number is too large",
    "no-root": "No value satisfies this",
    "no-such-entry": "The list has no such entry",
    "empty-list": "The list is empty",
  },

  source: {
    marks: {
      "from memory": "from memory",
      computed: "computed",
      disputed: "disputed",
    },
    unconfirmed: "not compared with the print",
  },

  amended: {
    by: (pack: string, what: string, because: string): string =>
      `Changed by ${pack}${what ? `, ${what}` : ""}: ${because}`,
    row: (table: string, row: string): string => `${table}, row ${row}`,
    until: (day: string): string => `The rule holds until ${day}.`,
  },

  verdict: {
    pass: "Within",
    caution: "Look again",
    fail: "Fails",
    unknown: "Not known yet",
    "not-applicable": "Does not apply",
    borderline: "On the limit to the last digit.",
  },

  nowhere: "There is no such place",

  visits: {
    none: "No visit yet. Planned ones come from the office by themselves.",
    planned: "Planned at the office",
    inWork: "In work",
    closed: "Closed",
    today: "today",
    add: "New visit",
    enrolFirst:
      "This phone belongs to no office yet. Ask the office for a code; then visits can be recorded.",
    calculatorsWork: "The calculators work already.",
    inTab:
      "This is a browser tab: after a week without use the phone may delete what is in it. Add Kneewall to the home screen and enrol there.",
  },

  newVisit: {
    title: "New visit",
    kind: "Kind of visit",
    site: "Site",
    newSite: "A new site",
    siteName: "Name of the site",
    address: "Address",
    system: "System",
    newSystem: "A new system",
    systemLabel: "What the system is called",
    checklists: "Checklists",
    open: "Open the visit",
    needs: {
      kind: "Say what the visit is for.",
      site: "Say which site it is.",
      system: "Say which system it is.",
    },
  },

  visit: {
    kinds: {
      install: "Install",
      commissioning: "Commissioning",
      maintenance: "Maintenance",
      fault: "Fault call",
    },
    states: { planned: "planned", "in work": "in work", closed: "closed" },
    gone: "This visit is not on the phone",
    checklists: "Checklists",
    moreChecklists: (n: number): string => count(n, "more checklist", "more checklists"),
    doneOf: (done: number, all: number, skipped: number): string =>
      `${done} of ${all} steps${skipped ? `, ${skipped} skipped` : ""}`,
    found: "What was found",
    lookAt: (what: string): string => `Look at: ${what}`,
    allCalculators: "All calculators",
    unanswered: (n: number): string => `Begun, and without a result yet: ${n}`,
    readings: (n: number): string => `${count(n, "value", "values")} on record`,
    earlier: "Earlier visits on this system",
    notes: "Notes",
    newNote: "New note",
    keepNote: "Keep the note",
    fromOffice: (time: string): string => `from the office, ${time}`,
    system: "The system",
    addMember: (label: string): string => `Add ${label.toLowerCase()}`,
    end: "At the end",
    close: "Close the visit",
    closeAsk:
      "Nothing more can be entered after that. Everything written stays and goes to the office.",
    closeYes: "Yes, close it",
    next: (what: string): string => `Next: ${lower(what)}`,
    otherRules: (n: number): string =>
      `This visit goes by the rules it was begun with. Rules ${n} are newer.`,
    moveRules: (n: number): string => `Go on with rules ${n}`,
    rulesLacking:
      "The rules of this visit are not on the phone and the office cannot be asked now.",
  },

  checklist: {
    progress: (done: number, all: number, skipped: number, failed: number): string =>
      [
        `${done} of ${all} done`,
        skipped ? `${skipped} skipped` : "",
        failed ? `${failed} failed` : "",
      ]
        .filter(Boolean)
        .join(", "),
    all: "All steps",
    toVisit: "The visit",
  },

  step: {
    acts: {
      do: "to do",
      read: "to read",
      choose: "to choose",
      time: "to time",
      photo: "to photograph",
      sign: "to sign",
    },
    done: {
      do: "Done",
      read: "Keep and go on",
      choose: "Keep and go on",
      time: "Keep and go on",
      photo: "Done",
      sign: "Sign",
    },
    outcomes: {
      done: "Done",
      "not-applicable": "Does not apply here",
      skipped: "Skipped",
      "open-again": "Open again",
    },
    first: "First do this",
    firstDo: (what: string): string => `First: ${lower(what)}`,
    again: (what: string): string => `Again: ${lower(what)}`,
    stillOpen: (what: string): string => `Still open: ${what}.`,
    heldBy: (what: string): string => `first: ${what}`,
    unsure: "not known yet whether it applies",
    keep: "Keep",
    whereKnown: "Where known",
    notDone: "Not done",
    reason: "Why not",
    skip: "Skip it",
    notApplicable: "It does not apply here",
    openAgain: "Do it again",
  },

  timed: {
    start: "Start the timer",
    startAgain: "Start again",
    stop: "Stop the timer",
    stopEarly: "Stop now",
    goOn: "Go on",
    left: (time: string): string => `${time} to go`,
    complete: "The time is complete.",
    early: (time: string): string => `${time} still to go. A hold cut short proves nothing.`,
    asleep: (time: string): string => `The phone slept ${time} of it.`,
    clockChanged: "The phone's clock was set while it ran.",
    observed: "The app watched all the time.",
    awake: "The screen stays on.",
    keepOn: "The timer goes on when the screen is off. Set the phone's own alarm if you leave.",
    held: "Stopped.",
    take: "Take this reading now",
    taken: (n: number): string => `${count(n, "reading", "readings")} taken.`,
    firstReading: "Take the first reading at the start.",
  },

  photo: {
    caption: "What the photo shows",
    take: "Take a photo",
    another: "Take another photo",
    choose: "Choose from the phone's pictures",
    taking: "Making it smaller…",
    add: "Add a photo",
    count: (n: number): string => count(n, "photo", "photos"),
    alt: "Photo of this step",
    mend: "Strike it out",
    elsewhere: "not on this phone",
    unreadable: "This picture cannot be read or is larger than 12 MB. Take it as JPEG.",
  },

  sign: {
    title: "Sign",
    again: "Sign again",
    name: "Name",
    says: "What is signed",
    statement: "The work above was done and measured as written here.",
    draw: "Draw your name",
    drawn: "A drawn name",
    notDrawn: "Nothing drawn",
    wipe: "Wipe",
    incomplete: "A name and what is signed are needed.",
    do: "Sign and keep",
  },

  topic: (topic: string): string => {
    const plain = topic.replaceAll(/[-_]/g, " ");
    return plain.charAt(0).toUpperCase() + plain.slice(1);
  },

  handbook: {
    title: "Handbook",
    about:
      "Every calculator of these rules: formulas, tables, limits, sources and worked examples.",
    ofCalculator: "How it is computed",
    toConfirm: "Values to be confirmed",
    aboutConfirming:
      "These rest on memory, on common practice, on a reprint or on a dispute, or are invented. Nobody has compared them with the print yet.",
    found: "Found",
    between: "On the way there",
    entered: "Entered",
    functions: "Functions",
    checks: "Checks",
    worked: "Worked examples",
    tables: "Tables",
    cautions: "Cautions",
  },

  calculators: {
    topics: "Topics",
    find: "Find by title, entry or result",
    found: (n: number): string =>
      n ? count(n, "calculator", "calculators") : "None has these words",
    noRules: "The rules are not on the phone yet. They come with the next contact.",
    enrolFirst:
      "The rules come from the office. Enrol this phone once; then the calculators work without signal.",
    unknown: "These rules have no such calculator.",
  },

  calculator: {
    extra: "Also needed here",
    usual: (n: number): string =>
      `${count(n, "more entry", "more entries")}, where known or different here`,
    clear: "Clear",
    keep: "Keep in this visit",
  },

  chart: {
    visit: "Visit",
    noVisit: "No visit on this phone has it yet.",
    notRead: "not read",
    intoService: "put into service",
    otherRules: "by the rules of then",
    whenNew: (value: string): string => `${value} when new`,
  },

  result: {
    open: "Open the working",
    from: "It comes from",
    needs: "Still needed:",
    moreNeeds: (n: number): string => `and ${count(n, "more entry", "more entries")}`,
    needsThese: (what: string): string => `needs: ${what}`,
    andMore: (what: string, more: number): string => (more > 0 ? `${what} and ${more} more` : what),
    defaults: (what: string): string => `Taken without an entry: ${what}.`,
    disputed: (sources: string): string => `Rests on a figure in dispute: ${sources}.`,
    disputedMark: "rests on a figure in dispute",
    row: (table: string): string => `Row of ${table}`,
    source: "Source",
    entered: "Entered by a person",
    toCalculator: (title: string): string => (title ? `Back to ${lower(title)}` : "Back"),
  },

  entry: {
    gone: "There is no such entry, or it was struck out",
    note: "Note",
    photo: "Photo",
    by: (name: string, time: string): string => `${name}, ${time}`,
    thisPhone: "this phone",
    otherPhone: "another phone",
    before: "Before that",
    because: (by: string, reason: string): string => (reason ? `${by}: ${reason}` : by),
    correct: "Correct it",
    right: "What it should say",
    why: "Why it is corrected",
    keep: "Keep the correction",
    strike: "Strike it out",
    whyStrike: "Why it is struck out",
    strikeHelp: "Struck out, it stays in the book for the office and counts for nothing.",
    doStrike: "Strike it out now",
    back: "The visit",
    reason: "Say why in a few words.",
  },

  report: {
    open: "Report",
    sections: {
      system: "System",
      findings: "Findings",
      readings: "Readings",
      settings: "Settings",
      photos: "Photos",
      cautions: "Cautions for the owner",
      notes: "Notes",
      signature: "Signature",
      rules: "Rules",
    },
    nothing: "Nothing.",
    kind: "Kind",
    planned: "Planned for",
    first: "First reading",
    state: "State",
    technician: "Technician",
    otherPhone: "another phone",
    noSystem: "A system without a name",
    other: "Other",
    who: (name: string, time: string, doubtful: boolean): string =>
      `${name}, ${time}${doubtful ? ", clock not sure" : ""}`,
    thatIs: (value: string): string => `that is ${value}`,
    origins: {
      typed: "",
      picked: "",
      offered: "taken as computed",
      timer: "timed",
      table: "from a table",
    },
    kept: "from an earlier visit",
    corrected: (time: string, reason: string): string =>
      `corrected ${time}${reason ? `: ${reason}` : ""}`,
    otherwise: (value: string, by: string): string => `also read as ${value} by ${by}`,
    skipped: (reason: string): string => `Skipped, because ${reason}`,
    edition: "Edition",
    hash: "Hash of its bytes",
    packs: { trade: "Trade rules", maker: "Maker's rules", house: "House rules" },
    computedBy: "Computed by",
    limits:
      "It informs a licensed person. The maker's instructions, the local code and the authority having jurisdiction come first.",
    print: "Print or save as PDF",
    makeFile: "Make a file of it",
    share: "Hand over the file",
  },

  enrol: {
    title: "Enrol this phone",
    how: "The office makes a code of ten letters and figures. It works once, for ten minutes.",
    code: "Code from the office",
    name: "Whose phone this is",
    do: "Enrol",
    incomplete: "Code and name are needed.",
    noContact: "The office does not answer. Go where there is signal and try again.",
    wait: (minutes: number): string =>
      `Too many tries. Wait ${count(minutes, "minute", "minutes")}.`,
    wrongCode: "The code is wrong, used or too old. Ask the office for a new one.",
    again: (office: string): string =>
      `This phone is enrolled at ${office}. Enrolling again gives it a new name there; what is not sent stays.`,
  },

  phone: {
    of: (name: string, office: string): string => `${name}, enrolled at ${office}`,
    nobody: "Enrolled at no office",
    reenrol: "when the office asks for it",
    oldest: (time: string): string =>
      time ? `oldest from ${time}` : "Nothing waits on this phone.",
    contact: "Contact the office",
    photosUnsent: (n: number): string => `${count(n, "photo", "photos")} not sent`,
    export: "File of all not sent",
    giveFiles: (n: number, megabytes: string): string =>
      `Hand over the ${n === 1 ? "file" : `${n} files`}, ${megabytes} MB`,
    rulesRefused: "Newer rules are not used",
    app: (version: string): string => `App ${version}`,
    offline: {
      ready: "Ready offline",
      incomplete: "Not complete on the phone: open it once more with signal",
      unknown: "Looking whether all of it is here",
      unsupported: "This browser keeps nothing for work without signal",
    },
    storage: "Storage",
    storages: {
      gone: "The store does not open",
      safe: "The browser keeps it until you delete it",
      loose: "The browser may clear it when the phone is full",
      unknown: "The browser does not say how long it keeps it",
    },
    notices: "Libraries and their licences",
    theme: "Light",
    themes: { auto: "As the phone", attic: "Attic", sun: "Sun" },
    units: "Units",
    systems: { ip: "Inch-pound", si: "SI" },
    language: "Language",
    states: {
      "no-contact": "The office does not answer. Kneewall tries again by itself while it is open.",
      "not-known":
        "The office does not know this phone any more. Enrol it again; what is not sent stays.",
      revoked:
        "The office has revoked this phone. What is not sent still goes there; talk to the office.",
      failed: "Contact failed. The log says why; Kneewall tries again by itself.",
    },
  },

  parked: {
    title: "Set aside",
    none: "Nothing is set aside.",
    what: "These records stay on the phone. The office took note of them or could not read them; the reason stands below each.",
    kind: (kind: string, time: string): string => `${kind.replaceAll("-", " ")}, ${time}`,
    noAnswer: "The office gave no answer to this record.",
    retry: "Send them once more",
  },

  log: { title: "Log of the app", share: "Share the log" },
} as const;
