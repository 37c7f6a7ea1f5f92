/*
 * The pages, and the names by which a person, a screen reader or a test finds their main controls:
 *
 *   everywhere  navigation "Places": links "Start", "Live", "Cases", "Recordings", "Meters ..."; button "Looks: ..."
 *   start       list "Three ways in"; buttons "Connect a meter in this browser", "Use the server's adapter",
 *               "Watch the virtual car"; link "New case"; a link for each case by its title
 *   live        regions "Voltage", "Current"; buttons "Mark attempt: it opened by the handle", "... button only ...",
 *               "... locked by touch", "... nothing ...", "Use it for this car's findings", "Let go", "Start recording", "Stop recording"; radios "Live watch", "Overnight test"; behind the
 *               summary "Title, case and meters": text field "Title", select "Case", a checkbox for each meter; link "See the findings" after a stop
 *   preflight   lists of what the page sees and of what is ticked: a checkbox for each; button "Start recording"
 *   cases       links "New case" and each case; field "Find: plate, VIN, complaint, name"; radios "Open", "Archived";
 *               file field "Import a CSV or a sealed bundle"; behind "Deleted cases": buttons "Bring back NAME"
 *   case        links "Start a recording", "Overnight test", "Edit", each recording; buttons "Add a photo", "Write a note",
 *               "Archive", "Delete", then "Delete the case"; after that, everywhere, "Undo"
 *   fuses       fields "Fuse", "Printed on it", "Across it", "Fuse to pull"; buttons "Add to the list", "Pulled now",
 *               "Put back now", "Take the last 20 s as the whole draw", "Take off the list: PLACE"
 *   case-edit   fields "Name of the case", "Plate or VIN", "Complaint", "Notes", ...; button "Save the case"
 *   recordings  link "Start a recording"; file field "Import a CSV or a sealed bundle"; a link for each recording
 *   night       regions "Verdict", "Figures of this recording", "The night on its time axis"; heading "Findings";
 *               buttons "Whole night", "Asleep only", "Earlier", "Later", "Closer", "Further",
 *               "Show on the chart: ..."; link "Download CSV"; the chart: role application;
 *               headings "Polling from nearby", "Before and after"; link "Compare"
 *   compare     headings "What changed", "Both nights on one scale", "Figure by figure"; radios "The start", "Falling asleep"
 *   meters      regions "In this browser", "At the server", "The virtual car"; buttons "Look for meters",
 *               "Connect NAME", "Disconnect NAME", "Start the virtual car", "Touch the handle", "Wake a module",
 *               "Stop the virtual car"
 *   teach       buttons "Choose a meter in this browser", "Listen to NAME", "Hold this frame", "Keep this glance", "Let it go",
 *               "Remove FIGURE", "Save this meter"; fields "The display reads", "Name of this kind of meter"; regions "What arrives",
 *               "Glances", "What was found"
 *   verify      file field "Sealed bundle"; region "Answer"
 */
import type { JSX } from 'preact';
import type { Route } from '../state/route.ts';
import { useRoute } from '../parts/hooks.ts';
import { Late } from '../parts/late.tsx';
import { Shell } from '../parts/shell.tsx';
import { PageTitle } from '../parts/words.tsx';
import { CasePage } from './case.tsx';
import { CaseEditPage } from './caseEdit.tsx';
import { CasesPage } from './cases.tsx';
import { ComparePage } from './compare.tsx';
import { FusesPage } from './fuses.tsx';
import { HelpPage } from './help.tsx';
import { LivePage } from './live.tsx';
import { MetersPage } from './meters.tsx';
import { NightPage } from './night.tsx';
import { PreflightPage } from './preflight.tsx';
import { RecordingsPage } from './recordings.tsx';
import { StartPage } from './start.tsx';
import { VerifyPage } from './verify.tsx';

export function Page(): JSX.Element {
  const route = useRoute();
  return <Shell route={route}>{pageOf(route)}</Shell>;
}

/** The route table. The key makes a new page of the same kind begin afresh. */
function pageOf(route: Route): JSX.Element {
  switch (route.page) {
    case 'start':
      return <StartPage />;
    case 'cases':
      return <CasesPage />;
    case 'case':
      return <CasePage key={route.id} id={route.id} />;
    case 'case-edit':
      return <CaseEditPage key={route.id ?? 'new'} id={route.id} />;
    case 'fuses':
      return <FusesPage key={route.caseId} caseId={route.caseId} />;
    case 'recordings':
      return <RecordingsPage />;
    case 'night':
      return <NightPage key={route.id} id={route.id} />;
    case 'compare':
      return <ComparePage key={`${route.before} ${route.after}`} before={route.before} after={route.after} />;
    case 'live':
      return <LivePage key={route.caseId ?? ''} caseId={route.caseId} />;
    case 'preflight':
      return <PreflightPage key={route.caseId ?? ''} caseId={route.caseId} />;
    case 'meters':
      return <MetersPage />;
    case 'teach':
      return <Late key="teach" load={() => import('./teach.tsx').then((m) => m.TeachPage)} />;
    case 'help':
      return <HelpPage />;
    case 'verify':
      return <VerifyPage />;
    case 'lost':
      return <PageTitle title="There is no such page" line="Choose one of the places above." />;
  }
}
