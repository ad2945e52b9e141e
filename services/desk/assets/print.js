// The bar above a document that is made for print.
"use strict";
document.getElementById("print").addEventListener("click", () => print());
