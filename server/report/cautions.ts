/** What hurts people at this work, most urgent first; the maker's procedure and local rules always come first. */
export const CAUTIONS: readonly string[] = [
  "The maker's procedure, local codes and licensed practice come before anything said here.",
  'A hybrid can start its engine without warning while the fob is near: fob out of the car and at least 3 m (10 ft) away, dash dark.',
  'Orange wiring carries high voltage; it is for qualified people only.',
  'A lead-acid battery vents hydrogen and can weld a spanner: no flames, no rings, no loose tools near the posts.',
  'An in-line ammeter must not carry a door opening, central locking or a start: its fuse is not made for tens of amperes.',
  'Do not park a laptop where a charging battery vents.',
  'A running engine indoors is carbon monoxide.',
];

export const LIMITS_OF_A_SEAL =
  'A sealed bundle of this recording shows that nothing was changed since it was sealed, and by which key; anyone can ' +
  'check that without this program. It does not show that the clamp sat on the right cable, that the meter or the clock ' +
  'was right, or who held the key.';
