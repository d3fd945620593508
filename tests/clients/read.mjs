// Reads an iCalendar file with ical.js and prints what it found, as JSON.
// node read.mjs FOLDER_OF_ICAL_JS FILE
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const { default: ICAL } = await import(pathToFileURL(process.argv[2] + "/dist/ical.js").href);
const root = new ICAL.Component(ICAL.parse(readFileSync(process.argv[3], "utf8")));
for (const zone of root.getAllSubcomponents("vtimezone")) {
  ICAL.TimezoneService.register(new ICAL.Timezone(zone));
}
const value = (component, name) => component.getFirstPropertyValue(name);
const events = root.getAllSubcomponents("vevent").map((component) => {
  const event = new ICAL.Event(component);
  const time = (t) => (t.isDate ? t.toString() : new Date(t.toUnixTime() * 1000).toISOString());
  const alarm = component.getFirstSubcomponent("valarm");
  return {
    uid: event.uid,
    start: time(event.startDate),
    end: time(event.endDate),
    summary: event.summary,
    description: event.description,
    sequence: event.sequence,
    status: value(component, "status"),
    stamp: time(value(component, "dtstamp")),
    categories: component.getFirstProperty("categories").getValues(),
    alarm: alarm ? value(alarm, "trigger").toString() : null,
  };
});
const head = {
  name: value(root, "x-wr-calname"),
  refresh: String(value(root, "refresh-interval")),
  refreshType: root.getFirstProperty("refresh-interval").type,
  method: value(root, "method"),
  uid: value(root, "uid"),
};
console.log(JSON.stringify({ head, events }));
