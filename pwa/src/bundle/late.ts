/** Gives an object a field that is made when it is first read; when making it throws, it is tried again. */
export function late(object: object, field: string, make: () => unknown): void {
  const define = (how: PropertyDescriptor) =>
    Object.defineProperty(object, field, { configurable: true, enumerable: true, ...how });
  const get = (): unknown => {
    const value = make();
    define({ value, writable: true });
    return value;
  };
  define({ get });
}
