/**
 * Counts the changes of the analysis that change what it finds. It is sealed with the findings, so that whoever
 * analyses the same samples again can tell a changed analysis from changed findings. A test holds it against what
 * the demo nights give.
 */
export const ANALYSIS_REVISION = 10;
