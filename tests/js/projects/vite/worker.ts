import init, { Card, EvengapError, HeightMap, rewriteStream } from "evengap";
import type { CardJson, Fault, Summary } from "evengap";

export type Asked = { card: CardJson; toolpath: Blob };
export type Answer = { summary: Summary; length: number } | { fault: Fault };

async function answer({ card, toolpath }: Asked): Promise<Answer> {
  await init();
  try {
    const map = HeightMap.fit(Card.fromText(JSON.stringify(card)));
    const stream = rewriteStream(map, { tolerance: 0.01 });
    const { size } = await new Response(toolpath.stream().pipeThrough(stream)).blob();
    return { summary: await stream.summary, length: size };
  } catch (error) {
    if (error instanceof EvengapError) return { fault: error.toJSON() };
    throw error;
  }
}

addEventListener("message", async (event: MessageEvent<Asked>) => postMessage(await answer(event.data)));
