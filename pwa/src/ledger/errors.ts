/**
 * What can go wrong with the phone's own store.
 *
 * LedgerError
 *   StoreGone     the database cannot be opened or does not answer; nothing was written
 *   StoreFull     the phone has no room left; nothing was written
 *   StoreTooNew   a newer release has written here and this one cannot read it
 *   NotEnrolled   a record needs a device, and this phone has none yet
 */
export class LedgerError extends Error {
  override name = "LedgerError";
}
export class StoreGone extends LedgerError {
  override name = "StoreGone";
}
export class StoreFull extends LedgerError {
  override name = "StoreFull";
}
export class StoreTooNew extends LedgerError {
  override name = "StoreTooNew";
}
export class NotEnrolled extends LedgerError {
  override name = "NotEnrolled";
}
