/** Every text of the phone app, in the Spanish of the trade in the United States: usted, decimal point. */
import type { Alarm } from "../ledger/schema.ts";
import type { Refusal } from "../bundle/update.ts";
import type { Words } from "./index.ts";
import { count, lower } from "./shape.ts";

const MONTHS = "ene feb mar abr may jun jul ago sep oct nov dic".split(" ");

const KINDS: Readonly<Record<string, string>> = {
  "value-set": "valor",
  "step-done": "paso",
  "timer-started": "temporizador iniciado",
  "timer-read": "lectura del temporizador",
  "timer-stopped": "temporizador detenido",
  photo: "foto",
  note: "nota",
  corrected: "corrección",
  voided: "anulación",
  signed: "firma",
  closed: "visita cerrada",
  "visit-opened": "visita abierta",
  "site-added": "sitio nuevo",
  "system-added": "sistema nuevo",
  "member-added": "equipo agregado",
  "edition-moved": "cambio de reglas",
};

/** Topics of calculators; one that is not here is shown as the rules name it. */
const TOPICS: Readonly<Record<string, string>> = {
  air: "aire",
  controls: "control",
  drain: "drenaje",
  electrical: "electricidad",
  equipment: "equipo",
  handover: "entrega",
  heat: "calefacción",
  maintenance: "mantenimiento",
  refrigerant: "refrigerante",
  site: "sitio",
};

export const es: Words = {
  name: "Kneewall",
  saved: "guardado",
  places: {
    label: "Lugares",
    visits: "Visitas",
    calculators: "Calculadoras",
    phone: "Teléfono",
  },
  back: "Atrás",
  cancel: "Cancelar",
  loading: "Abriendo el libro…",

  strip: {
    unsent: (n: number): string => (n === 0 ? "Todo enviado" : `${n} sin enviar`),
    notEnrolled: "Sin registrar",
    lastContact: (time: string): string => `oficina ${time}`,
    noContact: "aún sin contacto con la oficina",
    rules: (n: number): string => `Reglas ${n}`,
    noRules: "Aún sin reglas",
  },

  store: {
    blocked: "Hay otra pestaña de Kneewall abierta y desactualizada. Ciérrela.",
    full: "No se guardó: el teléfono no tiene espacio. Borre fotos o aplicaciones y guarde otra vez.",
    notSaved:
      "No se guardó. Lo que escribió sigue aquí. Inténtelo otra vez o cierre y abra Kneewall.",
    gone: "El almacén de este teléfono no abre.",
    goneHelp:
      "No se puede registrar nada hasta que abra. Cierre todas las demás pestañas de Kneewall y ábralo otra vez. No borre los datos del navegador: ahí están los registros sin enviar.",
    again: "Abrir otra vez",
  },

  alarm: {
    title: "Faltan registros en este teléfono",
    text: ({ what, seq, found }: Alarm): string =>
      what === "emptied"
        ? `El almacén se vació. El último registro escrito tenía el número ${seq}. Pregunte a la oficina qué llegó.`
        : `${count(seq, "registro escrito", "registros escritos")}, ${count(found, "encontrado", "encontrados")}. Pregunte a la oficina qué llegó.`,
    seen: "Enterado",
    forOffice: ({ what, seq, found }: Alarm): string =>
      what === "emptied"
        ? `El almacén del teléfono se vació. Su último registro tenía el número ${seq}.`
        : `El almacén del teléfono está dañado: se escribió el registro ${seq} y se encontraron ${found}.`,
  },

  release: {
    failed:
      "No se pudo guardar en el teléfono una versión nueva de la aplicación. Sigue la anterior.",
    waiting: "Hay una versión nueva lista.",
    takeOver: "Abrir la versión nueva",
  },

  rules: {
    switched: (n: number): string => `reglas nuevas: ${n}`,
    refused: (n: number, refusal: Refusal): string => {
      switch (refusal.why) {
        case "older":
          return `Las reglas ${n} son más viejas que las reglas ${refusal.current} de este teléfono y no se usan.`;
        case "format":
          return `Las reglas ${n} son de formato ${refusal.format}; esta aplicación lee el formato ${refusal.known}. Actualice la aplicación.`;
        case "app":
          return `Las reglas ${n} necesitan la versión ${refusal.needs} de la aplicación; esta es la ${refusal.app}. Actualice la aplicación.`;
        case "size":
        case "hash":
          return `Las reglas ${n} no llegaron completas. Se piden otra vez en el próximo contacto.`;
        case "unreadable":
          return `Esta aplicación no puede leer las reglas ${n} y no se usan. ${refusal.detail}`;
        case "self-test": {
          const { example, id, expected, found } = refusal.fault;
          if (!id)
            return `Las reglas ${n} no se usan: «${example}» no se puede calcular aquí. ${found}`;
          return `Las reglas ${n} no pasaron su prueba en este teléfono y no se usan: en «${example}», ${id} debía dar ${expected} y dio ${found}.`;
        }
      }
    },
  },

  date: (iso: string): string => {
    const [year, month, day] = iso.split("-").map(Number);
    return `${day} ${MONTHS[month! - 1]} ${year}`;
  },
  day: (iso: string, now = new Date()): string => {
    const date = es.date(iso);
    return iso.startsWith(`${now.getFullYear()}-`) ? date.slice(0, -5) : date;
  },

  ofMember: (label: string, member: string): string => `${label}, ${member}`,

  field: {
    yes: "Sí",
    no: "No",
    none: "ninguno",
    choose: "Elija…",
    sign: (label: string): string => `Más o menos: ${label}`,
    switchUnit: (label: string, now: string, other: string): string =>
      `${label} está en ${now}. Cambiar a ${other}`,
    read: (read: string, other: string): string => (other ? `= ${read} (${other})` : `= ${read}`),
    default: (value: string): string => `Sin anotar: se usa ${value}.`,
    emptied: "Vacío. Guárdelo así para quitar el valor anterior.",
    unusual: (low: string, high: string): string =>
      `Aún no se usa: lo normal es de ${low} a ${high}. Revise otra vez.`,
    sure: (value: string): string => `${value} es correcto`,
    take: (value: string): string => `Tomar ${value}`,
    takeIt: "Tomarlo",
    foundBy: (calculator: string): string => `calculado en ${calculator}`,
    finds: (calculator: string, value: string): string => `${calculator} da ${value}`,
    asFoundBy: (calculator: string): string => `igual que en ${calculator}`,
    today: (day: string): string => `hoy, ${es.day(day)}`,
    row: (n: number): string => `Anotación ${n}`,
    rowOf: (n: number, column: string): string => `Anotación ${n}, ${column}`,
    kept: (time: string): string => `guardado ${time}`,
    keptBefore: (date: string): string => `del ${date}`,
    lastTime: (value: string, day: string): string => `la vez anterior ${value}, ${day}`,
    baseline: (value: string, day: string): string => `en la puesta en servicio ${value}, ${day}`,
    conflict: (other: string): string => `Otro teléfono dice ${other}.`,
  },

  reading: {
    number: "No es un número. Escríbalo así: 12.5, 12,5 o 3/8.",
    grouping: (plain: string, decimal: string): string =>
      `Esto podría ser ${plain} o ${decimal}. Escríbalo sin la marca de los miles.`,
    unit: (unit: string): string =>
      unit
        ? `La unidad no corresponde. Escriba solo el número, o en ${unit}.`
        : "Escriba solo el número.",
    limits: (low: string, high: string): string =>
      `No se acepta: solo puede ser de ${low} a ${high}.`,
    oneOf: (values: string): string => `Solo puede ser ${values}.`,
    choice: "No está en la lista. Elija una opción.",
    flag: "Sí o no.",
    date: "No es una fecha. Escríbala así: 2026-11-25.",
    count: "Un número entero, contado.",
    series: "Cada anotación necesita las dos cifras.",
    "series-twice": "Hay dos anotaciones con el mismo tiempo.",
  },

  unknown: {
    dots: "…",
    figure: "(sin dato)",
    none: "—",
    missing: "Aún no se sabe",
    outside: "Fuera de lo que cubren las reglas",
    when: "No aplica aquí",
    "no-option": "Las reglas no conocen este valor",
    below: "Por debajo de la tabla",
    above: "Por encima de la tabla",
    aTable: "la tabla",
    limits: (label: string, edge: string): string => `${label} pasaría de ${edge}`,
    edge: {
      below: (table: string, edge: string): string =>
        `Por debajo del primer valor de ${table}, ${edge}`,
      above: (table: string, edge: string): string =>
        `Por encima del último valor de ${table}, ${edge}`,
    },
    "no-row": (table: string): string => `No aparece en ${table}`,
    "no-row-satisfies": (table: string): string => `Nada en ${table} alcanza`,
    "empty-cell": (table: string): string => `${table} no lo da`,
    "division-by-zero": "No se puede calcular: división entre cero",
    "fractional-power-of-negative": "No se puede calcular con un número negativo",
    "root-of-negative": "No se puede calcular: raíz de un número negativo",
    "log-of-nothing": "No se puede calcular: logaritmo de cero o menos",
    overflow: "No se puede calcular: el número es demasiado grande",
    "no-root": "Ningún valor lo cumple",
    "no-such-entry": "La lista no tiene esa anotación",
    "empty-list": "La lista está vacía",
  },

  source: {
    marks: {
      "from memory": "de memoria",
      computed: "calculado",
      disputed: "en disputa",
    },
    unconfirmed: "sin comparar con el impreso",
  },

  amended: {
    by: (pack: string, what: string, because: string): string =>
      `Cambiado por ${pack}${what ? `, ${what}` : ""}: ${because}`,
    row: (table: string, row: string): string => `${table}, fila ${row}`,
    until: (day: string): string => `La regla vale hasta el ${day}.`,
  },

  verdict: {
    pass: "Dentro",
    caution: "Revise",
    fail: "No cumple",
    unknown: "Aún no se sabe",
    "not-applicable": "No aplica",
    borderline: "En el límite hasta la última cifra.",
  },

  nowhere: "Ese lugar no existe",

  visits: {
    none: "Aún no hay visitas. Las planeadas llegan solas desde la oficina.",
    planned: "Planeadas en la oficina",
    inWork: "En curso",
    closed: "Cerradas",
    today: "hoy",
    add: "Visita nueva",
    enrolFirst:
      "Este teléfono aún no pertenece a ninguna oficina. Pida un código a la oficina; entonces podrá registrar visitas.",
    calculatorsWork: "Las calculadoras ya funcionan.",
    inTab:
      "Esto es una pestaña del navegador: tras una semana sin uso el teléfono puede borrar lo que contiene. Agregue Kneewall a la pantalla de inicio y registre el teléfono desde ahí.",
  },

  newVisit: {
    title: "Visita nueva",
    kind: "Tipo de visita",
    site: "Sitio",
    newSite: "Un sitio nuevo",
    siteName: "Nombre del sitio",
    address: "Dirección",
    system: "Sistema",
    newSystem: "Un sistema nuevo",
    systemLabel: "Cómo se llama el sistema",
    checklists: "Listas de verificación",
    open: "Abrir la visita",
    needs: {
      kind: "Diga para qué es la visita.",
      site: "Diga qué sitio es.",
      system: "Diga qué sistema es.",
    },
  },

  visit: {
    kinds: {
      install: "Instalación",
      commissioning: "Puesta en marcha",
      maintenance: "Mantenimiento",
      fault: "Llamada por falla",
    },
    states: { planned: "planeada", "in work": "en curso", closed: "cerrada" },
    gone: "Esta visita no está en el teléfono",
    checklists: "Listas de verificación",
    moreChecklists: (n: number): string => count(n, "lista más", "listas más"),
    doneOf: (done: number, all: number, skipped: number): string =>
      `${done} de ${all} pasos${skipped ? `, ${count(skipped, "omitido", "omitidos")}` : ""}`,
    found: "Lo que se encontró",
    lookAt: (what: string): string => `Revise: ${what}`,
    allCalculators: "Todas las calculadoras",
    unanswered: (n: number): string => `Comenzadas, y aún sin resultado: ${n}`,
    readings: (n: number): string => `${count(n, "valor registrado", "valores registrados")}`,
    earlier: "Visitas anteriores a este sistema",
    notes: "Notas",
    newNote: "Nota nueva",
    keepNote: "Guardar la nota",
    fromOffice: (time: string): string => `de la oficina, ${time}`,
    system: "El sistema",
    addMember: (label: string): string => `Agregar ${label.toLowerCase()}`,
    end: "Al terminar",
    close: "Cerrar la visita",
    closeAsk: "Después ya no se puede anotar nada. Todo lo escrito se conserva y va a la oficina.",
    closeYes: "Sí, cerrarla",
    next: (what: string): string => `Sigue: ${lower(what)}`,
    otherRules: (n: number): string =>
      `Esta visita va con las reglas con que empezó. Las reglas ${n} son más nuevas.`,
    moveRules: (n: number): string => `Seguir con las reglas ${n}`,
    rulesLacking:
      "Las reglas de esta visita no están en el teléfono y ahora no se puede preguntar a la oficina.",
  },

  checklist: {
    progress: (done: number, all: number, skipped: number, failed: number): string =>
      [
        `${done} de ${all} hechos`,
        skipped ? count(skipped, "omitido", "omitidos") : "",
        failed ? count(failed, "no cumple", "no cumplen") : "",
      ]
        .filter(Boolean)
        .join(", "),
    all: "Todos los pasos",
    toVisit: "La visita",
  },

  step: {
    acts: {
      do: "por hacer",
      read: "por leer",
      choose: "por elegir",
      time: "por cronometrar",
      photo: "por fotografiar",
      sign: "por firmar",
    },
    done: {
      do: "Hecho",
      read: "Guardar y seguir",
      choose: "Guardar y seguir",
      time: "Guardar y seguir",
      photo: "Hecho",
      sign: "Firmar",
    },
    outcomes: {
      done: "Hecho",
      "not-applicable": "No aplica aquí",
      skipped: "Omitido",
      "open-again": "Abierto otra vez",
    },
    first: "Antes haga esto",
    firstDo: (what: string): string => `Antes: ${lower(what)}`,
    again: (what: string): string => `Otra vez: ${lower(what)}`,
    stillOpen: (what: string): string => `Aún falta: ${what}.`,
    heldBy: (what: string): string => `antes: ${what}`,
    unsure: "aún no se sabe si aplica",
    keep: "Guardar",
    whereKnown: "Si se conoce",
    notDone: "No se hizo",
    reason: "Por qué no",
    skip: "Omitirlo",
    notApplicable: "No aplica aquí",
    openAgain: "Hacerlo otra vez",
  },

  timed: {
    start: "Iniciar el temporizador",
    startAgain: "Empezar otra vez",
    stop: "Detener el temporizador",
    stopEarly: "Detener ya",
    goOn: "Continuar",
    left: (time: string): string => `faltan ${time}`,
    complete: "El tiempo está completo.",
    early: (time: string): string => `Aún faltan ${time}. Una espera cortada no prueba nada.`,
    asleep: (time: string): string => `El teléfono durmió ${time} de ese tiempo.`,
    clockChanged: "El reloj del teléfono se cambió mientras corría.",
    observed: "La aplicación estuvo atenta todo el tiempo.",
    awake: "La pantalla queda encendida.",
    keepOn:
      "El temporizador sigue con la pantalla apagada. Si se va, ponga la alarma del teléfono.",
    held: "Detenido.",
    take: "Tomar esta lectura ahora",
    taken: (n: number): string => `${count(n, "lectura tomada", "lecturas tomadas")}.`,
    firstReading: "Tome la primera lectura al empezar.",
  },

  photo: {
    caption: "Qué muestra la foto",
    take: "Tomar una foto",
    another: "Tomar otra foto",
    choose: "Elegir de las fotos del teléfono",
    taking: "Reduciéndola…",
    add: "Agregar una foto",
    count: (n: number): string => count(n, "foto", "fotos"),
    alt: "Foto de este paso",
    mend: "Anularla",
    elsewhere: "no está en este teléfono",
    unreadable: "Esta foto no se puede leer o pasa de 12 MB. Tómela como JPEG.",
  },

  sign: {
    title: "Firma",
    again: "Firmar otra vez",
    name: "Nombre",
    says: "Qué se firma",
    statement: "El trabajo de arriba se hizo y se midió como está escrito aquí.",
    draw: "Dibuje su nombre",
    drawn: "Un nombre dibujado",
    notDrawn: "Nada dibujado",
    wipe: "Borrar",
    incomplete: "Faltan el nombre y lo que se firma.",
    do: "Firmar y guardar",
  },

  topic: (topic: string): string => {
    const plain = TOPICS[topic] ?? topic.replaceAll(/[-_]/g, " ");
    return plain.charAt(0).toUpperCase() + plain.slice(1);
  },

  handbook: {
    title: "Manual",
    about:
      "Todas las calculadoras de estas reglas: fórmulas, tablas, límites, fuentes y ejemplos resueltos.",
    ofCalculator: "Cómo se calcula",
    toConfirm: "Valores por confirmar",
    aboutConfirming:
      "Estos se apoyan en la memoria, en la práctica común, en una reimpresión o en una disputa, o son inventados. Nadie los ha comparado aún con el impreso.",
    found: "Resultados",
    between: "Pasos intermedios",
    entered: "Datos anotados",
    functions: "Funciones",
    checks: "Verificaciones",
    worked: "Ejemplos resueltos",
    tables: "Tablas",
    cautions: "Precauciones",
  },

  calculators: {
    topics: "Temas",
    find: "Buscar por título, dato o resultado",
    found: (n: number): string =>
      n ? count(n, "calculadora", "calculadoras") : "Ninguna tiene estas palabras",
    noRules: "Las reglas aún no están en el teléfono. Llegan con el próximo contacto.",
    enrolFirst:
      "Las reglas vienen de la oficina. Registre este teléfono una vez; después las calculadoras funcionan sin señal.",
    unknown: "Estas reglas no tienen esa calculadora.",
  },

  calculator: {
    extra: "Aquí también hace falta",
    usual: (n: number): string =>
      `${count(n, "dato más", "datos más")}, si se conocen o aquí son otros`,
    clear: "Vaciar",
    keep: "Guardar en esta visita",
  },

  chart: {
    visit: "Visita",
    noVisit: "Ninguna visita de este teléfono lo tiene todavía.",
    notRead: "no leído",
    intoService: "puesta en servicio",
    otherRules: "con las reglas de entonces",
    whenNew: (value: string): string => `${value} al inicio`,
  },

  result: {
    open: "Ver el cálculo",
    from: "Sale de",
    needs: "Aún hace falta:",
    moreNeeds: (n: number): string => `y ${count(n, "dato más", "datos más")}`,
    needsThese: (what: string): string => `falta: ${what}`,
    andMore: (what: string, more: number): string => (more > 0 ? `${what} y ${more} más` : what),
    defaults: (what: string): string => `Tomado sin anotación: ${what}.`,
    disputed: (sources: string): string => `Se apoya en una cifra en disputa: ${sources}.`,
    disputedMark: "se apoya en una cifra en disputa",
    row: (table: string): string => `Fila de ${table}`,
    source: "Fuente",
    entered: "Anotado por una persona",
    toCalculator: (title: string): string => (title ? `Volver a ${lower(title)}` : "Volver"),
  },

  entry: {
    gone: "No existe esa anotación, o fue anulada",
    note: "Nota",
    photo: "Foto",
    by: (name: string, time: string): string => `${name}, ${time}`,
    thisPhone: "este teléfono",
    otherPhone: "otro teléfono",
    before: "Antes de eso",
    because: (by: string, reason: string): string => (reason ? `${by}: ${reason}` : by),
    correct: "Corregir",
    right: "Qué debe decir",
    why: "Por qué se corrige",
    keep: "Guardar la corrección",
    strike: "Anular",
    whyStrike: "Por qué se anula",
    strikeHelp: "Anulado, queda en el libro para la oficina y no cuenta para nada.",
    doStrike: "Anular ahora",
    back: "La visita",
    reason: "Diga por qué en pocas palabras.",
  },

  report: {
    open: "Informe",
    sections: {
      system: "Sistema",
      findings: "Hallazgos",
      readings: "Lecturas",
      settings: "Ajustes",
      photos: "Fotos",
      cautions: "Precauciones para el propietario",
      notes: "Notas",
      signature: "Firma",
      rules: "Reglas",
    },
    nothing: "Nada.",
    kind: "Tipo",
    planned: "Planeada para",
    first: "Primera lectura",
    state: "Estado",
    technician: "Técnico",
    otherPhone: "otro teléfono",
    noSystem: "Un sistema sin nombre",
    other: "Otros",
    who: (name: string, time: string, doubtful: boolean): string =>
      `${name}, ${time}${doubtful ? ", hora no segura" : ""}`,
    thatIs: (value: string): string => `es decir ${value}`,
    origins: {
      typed: "",
      picked: "",
      offered: "tomado del cálculo",
      timer: "cronometrado",
      table: "de una tabla",
    },
    kept: "de una visita anterior",
    corrected: (time: string, reason: string): string =>
      `corregido ${time}${reason ? `: ${reason}` : ""}`,
    otherwise: (value: string, by: string): string => `también leído como ${value} por ${by}`,
    skipped: (reason: string): string => `Omitido, porque ${reason}`,
    edition: "Edición",
    hash: "Hash de sus bytes",
    packs: {
      trade: "Reglas del oficio",
      maker: "Reglas del fabricante",
      house: "Reglas de la casa",
    },
    computedBy: "Calculado por",
    limits:
      "Informa a una persona con licencia. Antes van las instrucciones del fabricante, el código local y la autoridad competente.",
    print: "Imprimir o guardar como PDF",
    makeFile: "Hacer un archivo",
    share: "Entregar el archivo",
  },

  enrol: {
    title: "Registrar este teléfono",
    how: "La oficina da un código de diez letras y cifras. Sirve una vez, durante diez minutos.",
    code: "Código de la oficina",
    name: "De quién es este teléfono",
    do: "Registrar",
    incomplete: "Faltan el código y el nombre.",
    noContact: "La oficina no responde. Vaya a donde haya señal e inténtelo otra vez.",
    wait: (minutes: number): string =>
      `Demasiados intentos. Espere ${count(minutes, "minuto", "minutos")}.`,
    wrongCode: "El código está mal, ya se usó o venció. Pida otro a la oficina.",
    again: (office: string): string =>
      `Este teléfono está registrado en ${office}. Registrarlo otra vez le da un nombre nuevo allí; lo que no se ha enviado se conserva.`,
  },

  phone: {
    of: (name: string, office: string): string => `${name}, registrado en ${office}`,
    nobody: "No está registrado en ninguna oficina",
    reenrol: "cuando la oficina lo pida",
    oldest: (time: string): string =>
      time ? `el más viejo es de ${time}` : "Nada espera en este teléfono.",
    contact: "Contactar la oficina",
    photosUnsent: (n: number): string => `${count(n, "foto", "fotos")} sin enviar`,
    export: "Archivo de lo no enviado",
    giveFiles: (n: number, megabytes: string): string =>
      `Entregar ${n === 1 ? "el archivo" : `los ${n} archivos`}, ${megabytes} MB`,
    rulesRefused: "Las reglas más nuevas no se usan",
    app: (version: string): string => `Aplicación ${version}`,
    offline: {
      ready: "Lista sin señal",
      incomplete: "Incompleta en el teléfono: ábrala una vez más con señal",
      unknown: "Viendo si está todo aquí",
      unsupported: "Este navegador no guarda nada para trabajar sin señal",
    },
    storage: "Almacén",
    storages: {
      gone: "El almacén no abre",
      safe: "El navegador lo conserva hasta que usted lo borre",
      loose: "El navegador puede borrarlo cuando el teléfono esté lleno",
      unknown: "El navegador no dice cuánto tiempo lo conserva",
    },
    notices: "Bibliotecas y sus licencias",
    theme: "Luz",
    themes: { auto: "Como el teléfono", attic: "Ático", sun: "Sol" },
    units: "Unidades",
    systems: { ip: "Pulgada-libra", si: "SI" },
    language: "Idioma",
    states: {
      "no-contact":
        "La oficina no responde. Kneewall lo intenta otra vez por su cuenta mientras está abierto.",
      "not-known":
        "La oficina ya no conoce este teléfono. Regístrelo otra vez; lo que no se ha enviado se conserva.",
      revoked:
        "La oficina dio de baja este teléfono. Lo que no se ha enviado todavía llega allí; hable con la oficina.",
      failed:
        "El contacto falló. El diario dice por qué; Kneewall lo intenta otra vez por su cuenta.",
    },
  },

  parked: {
    title: "Apartados",
    none: "No hay nada apartado.",
    what: "Estos registros se quedan en el teléfono. La oficina tomó nota de ellos o no pudo leerlos; la razón está debajo de cada uno.",
    kind: (kind: string, time: string): string =>
      `${KINDS[kind] ?? kind.replaceAll("-", " ")}, ${time}`,
    noAnswer: "La oficina no respondió a este registro.",
    retry: "Enviarlos una vez más",
  },

  log: { title: "Diario de la aplicación", share: "Compartir el diario" },
};
