"""The only package that knows MusicXML: the document, the reader, and the splices that change
it."""
