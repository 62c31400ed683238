package report

import (
	"fmt"
	"time"
)

// describe sets what programs read of the document: title, language and maker, in its catalogue and as XMP.
//
// Source: ISO 16684-1:2019 (XMP), 7 and 8.3 (Dublin Core), 8.4 (XMP basic); from memory.
func (d *pdfDoc) describe() {
	title, tool := drawable(d.c.Result.Case)+": ridge measurements", drawable(d.c.Provenance.Tool)
	d.SetTitle(title, true)
	d.SetCreator(tool, true)
	d.SetLang("en")
	date := ""
	if made := d.c.Provenance.Date; !made.IsZero() {
		stamp := made.UTC().Format(time.RFC3339)
		date = "<xmp:CreateDate>" + stamp + "</xmp:CreateDate><xmp:ModifyDate>" + stamp + "</xmp:ModifyDate>"
	}
	d.SetXmpMetadata(fmt.Appendf(nil, `<?xpacket begin="%s" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">%s</rdf:li></rdf:Alt></dc:title>
<dc:language><rdf:Bag><rdf:li>en</rdf:li></rdf:Bag></dc:language>
<xmp:CreatorTool>%s</xmp:CreatorTool>%s
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="w"?>`, "\ufeff", escape(title), escape(tool), date))
}

// bookmark lets a reader jump to the cursor's place.
func (d *pdfDoc) bookmark(text string, level int) {
	d.SetFont(pdfFamily, "", 8) // the library takes the text's encoding from the font
	d.Bookmark(drawable(text), level, d.y)
}

// dateWords returns a moment as every page says it, empty for none.
func dateWords(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format("2 January 2006, 15:04") + " UTC"
}
