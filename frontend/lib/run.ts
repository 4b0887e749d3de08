// Follow a run: its bar and its message, until it is over.
import { ask, find, need } from "./page";

interface RunAnswer {
  is_working: boolean;
  percent: number;
  message: string;
  has_result: boolean;
}

const PAUSE_MS = 700;

export function followRun(): void {
  const place = find<HTMLElement>("[data-run]");
  const bar = place === null ? null : find<HTMLProgressElement>("progress", place);
  if (place === null || bar === null) return;
  const message = need<HTMLElement>(".run-message", place);
  const look = async (): Promise<void> => {
    try {
      const answer = (await (await ask(place.dataset["run"] ?? "")).json()) as RunAnswer;
      bar.value = answer.percent;
      if (message.textContent !== answer.message) message.textContent = answer.message;
      if (!answer.is_working) {
        location.assign(answer.has_result ? (place.dataset["done"] ?? "/") : location.href);
        return;
      }
    } catch {
      message.textContent = "No answer from the server just now; trying again.";
    }
    setTimeout(() => void look(), PAUSE_MS);
  };
  setTimeout(() => void look(), PAUSE_MS);
}
