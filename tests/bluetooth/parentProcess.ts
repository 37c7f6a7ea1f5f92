import { createNodeLink } from '../../drivers/links/node/link.ts';

/** A program of its own that starts the radio and tells its state; named is the file of the radio process. */
const link = createNodeLink({ childPath: process.argv[2]! });
link.onStatus(({ state }) => process.send!(state));
link.start();
