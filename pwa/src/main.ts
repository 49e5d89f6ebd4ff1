import { App } from "./app.ts";
import { Phone } from "./phone.ts";
import { DARK, showTheme } from "./settings.ts";
import "./style.css";

const phone = new Phone();
showTheme(phone.settings.theme);
document.documentElement.lang = phone.settings.language;
matchMedia(DARK).addEventListener("change", () => showTheme(phone.settings.theme));

const app = new App();
app.phone = phone;
document.body.prepend(app);

const fault = (error: unknown): void => {
  void phone.ledger.log.note(
    "fault",
    error instanceof Error ? (error.stack ?? String(error)) : String(error),
  );
};
addEventListener("error", (event) => fault(event.error ?? event.message));
addEventListener("unhandledrejection", (event) => fault(event.reason));

await phone.begin();
