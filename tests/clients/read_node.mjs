// Reads an iCalendar file with node-ical and prints what it found, as JSON.
// node read_node.mjs FOLDER_OF_NODE_ICAL FILE
import { createRequire } from "node:module";

const ical = createRequire(process.argv[2] + "/")(process.argv[2]);
const text = (value) => (value && typeof value === "object" ? value.val : value);
const day = (d) => [d.getFullYear(), d.getMonth() + 1, d.getDate()].map((n) => String(n).padStart(2, "0")).join("-");
const time = (d) => (d.dateOnly ? day(d) : d.toISOString());
const events = Object.values(ical.sync.parseFile(process.argv[3]))
  .filter((item) => item.type === "VEVENT")
  .map((event) => ({
    uid: event.uid,
    start: time(event.start),
    end: event.datetype === "date" ? day(event.end) : time(event.end),
    summary: text(event.summary),
    description: text(event.description),
    sequence: Number(event.sequence),
    status: event.status,
  }));
console.log(JSON.stringify(events));
