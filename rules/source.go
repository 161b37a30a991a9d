package rules

// SourceLayer is one layer as it was loaded, with the files that make up its
// rules: cases beside them are left out.
type SourceLayer struct {
	Name  string
	Files []SourceFile // sorted by name
}

// SourceFile is one rule file: its path in the layer's folder, with slashes, and
// its content, which must not be changed.
type SourceFile struct {
	Name string
	Data []byte
}

// Sources are the layers that the book was loaded from. Loaded again in this
// order they give a book of the same hash.
func (b *Book) Sources() []SourceLayer { return b.sources }
