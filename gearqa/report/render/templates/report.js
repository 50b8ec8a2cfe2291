(function(){
"use strict";
var root=document.documentElement;root.classList.add("js");
var sheets=[].slice.call(document.querySelectorAll("details.sheet"));
function fill(d){var n=d.querySelector("noscript");if(n){var p=n.parentNode;p.insertAdjacentHTML("beforeend",n.textContent);p.removeChild(n);}}
sheets.forEach(function(d){d.addEventListener("toggle",function(){if(d.open)fill(d);});});
function open(id){var e=document.getElementById(id),d=e&&e.closest("details");if(d&&!d.open){d.open=true;e.scrollIntoView();}}
function follow(){open(decodeURIComponent(location.hash.slice(1)));}
window.addEventListener("hashchange",follow);follow();
function on(id,event,f){var e=document.getElementById(id);if(e)e.addEventListener(event,f);}
on("fold","click",function(){sheets.forEach(function(d){d.open=false;});});
on("find","input",function(){var w=this.value.trim().toLowerCase();sheets.forEach(function(d){d.hidden=w!==""&&d.querySelector("summary").textContent.toLowerCase().indexOf(w)<0;});});
var tip=document.createElement("div");tip.className="tip";tip.hidden=true;document.body.appendChild(tip);
var cache=new WeakMap();
function points(path){var c=cache.get(path);if(c)return c;c=[];var x=0,y=0,abs=false;
path.getAttribute("d").replace(/[Ml]|-?\d+/g,function(t){if(t==="M"||t==="l"){abs=t==="M";c.t=0;return;}
if(c.t===0){x=abs?+t:x+ +t;c.t=1;}else{y=abs?+t:y+ +t;c.t=0;c.push([x/10,y/10]);}});
cache.set(path,c);return c;}
document.addEventListener("pointermove",function(e){
var svg=e.target.closest&&e.target.closest("figure svg");if(!svg){tip.hidden=true;return;}
var m=svg.getScreenCTM();if(!m)return;
var px=(e.clientX-m.e)/m.a,py=(e.clientY-m.f)/m.d,best=null,near=225;
svg.querySelectorAll("path[data-r]").forEach(function(path){
if(path.closest(".off"))return;
points(path).forEach(function(p){var d=(p[0]-px)*(p[0]-px)+(p[1]-py)*(p[1]-py)*.3;if(d<near){near=d;best=[p,path];}});});
if(!best){tip.hidden=true;return;}
var r=best[1].getAttribute("data-r").split(" ").map(Number);
var a=r[0]+r[1]*best[0][0],b=r[2]+r[3]*best[0][1],u=(best[1].getAttribute("data-u")||"mm|µm").split("|");
tip.textContent=(u[0]==="mm"?a.toFixed(2):Math.round(a*100)/100)+" "+u[0]+": "+b.toFixed(1)+" "+u[1];
tip.hidden=false;tip.style.left=Math.min(e.clientX+12,innerWidth-tip.offsetWidth-4)+"px";tip.style.top=(e.clientY-30)+"px";});
document.addEventListener("click",function(e){var g=e.target.closest&&e.target.closest("g.row");if(g&&e.target.tagName==="text")g.classList.toggle("off");});
})();
