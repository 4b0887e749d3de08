import { followRun } from "../lib/run";

followRun();
