"""From a document in the shop to a page behind a code: links, their key, publishing, and the page server."""
