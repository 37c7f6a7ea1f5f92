export const REPORT_FORMATS = ['html', 'pdf', 'csv'] as const;
export type ReportFormat = (typeof REPORT_FORMATS)[number];
