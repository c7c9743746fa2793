"""Reads a tag: the text that PDFium finds on each page, and what ZXing reads off its picture."""
import json, sys
import pypdfium2, zxingcpp

document = pypdfium2.PdfDocument(sys.stdin.buffer.read())
page, = document
picture = page.render(scale=6, grayscale=True)
pixels = memoryview(bytes(picture.buffer)).cast("B", (picture.height, picture.stride))
codes = zxingcpp.read_barcodes(pixels)
print(json.dumps({
    "text": page.get_textpage().get_text_range(),
    "size": page.get_size(),
    "codes": [{"format": str(code.format), "text": code.text} for code in codes],
}))
