// What browsers have since 2022 and 2023 and the compiler's library does not know yet.
interface CanvasPath {
  roundRect(x: number, y: number, width: number, height: number, radius: number): void;
}
interface Array<T> {
  findLast(found: (value: T) => unknown): T | undefined;
}
