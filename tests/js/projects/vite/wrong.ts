import { Card, HeightMap, Rewriter, type Options, type Summary } from "evengap";
export const noSuchPlan = () => import("evengap/workshop").then((w) => w.contourPlan(7));
export const unknownName: Options = { tolerence: 0.01 };
export const unknownSurface = (card: Card) => HeightMap.fit(card, "quilted");
export const textForBytes = (rewriter: Rewriter) => rewriter.push("G1 X1");
export const noCard = () => HeightMap.fit("[bed]");
export const mayBeNull = (summary: Summary): number => summary.largest_offset.offset;
export const constructed = () => new HeightMap();
